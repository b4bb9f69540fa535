"""What replaced what, and acts beside the coffee that turn out never to have been."""

from typing import Final

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel


class Correction(SQLModel, table=True):
    """A unit was voided and another one booked in its place, in one entry."""

    old_unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    new_unit_id: int = Field(foreign_key="unit.id", index=True)
    entry_id: int = Field(foreign_key="entry.id")
    reason: str = Field(max_length=2000)

    __table_args__ = (CheckConstraint("new_unit_id > old_unit_id", name="ck_correction_forward"),)


_ACTS: Final = (
    "clean_down", "place_clean_down", "check_weighing", "cupping", "colour_entry", "crates_entry",
    "material_change", "material_lot",
)  # fmt: skip
_ONE: Final = " + ".join(f"CASE WHEN {act}_id IS NULL THEN 0 ELSE 1 END" for act in _ACTS)


class ActVoid(SQLModel, table=True):
    """An act beside the coffee that turns out never to have been: one of those named."""

    __tablename__ = "act_void"

    entry_id: int = Field(primary_key=True, foreign_key="entry.id")
    clean_down_id: int | None = Field(default=None, foreign_key="clean_down.id", unique=True)
    place_clean_down_id: int | None = Field(
        default=None, foreign_key="place_clean_down.id", unique=True
    )
    check_weighing_id: int | None = Field(
        default=None, foreign_key="check_weighing.id", unique=True
    )
    cupping_id: int | None = Field(default=None, foreign_key="cupping.id", unique=True)
    colour_entry_id: int | None = Field(default=None, foreign_key="entry.id", unique=True)
    """The entry of a colour that was read by itself, not with its roast."""
    crates_entry_id: int | None = Field(default=None, foreign_key="entry.id", unique=True)
    """The entry by which crates travelled alone or were counted."""
    material_change_id: int | None = Field(
        default=None, foreign_key="material_change.id", unique=True
    )
    material_lot_id: int | None = Field(default=None, foreign_key="material_lot.id", unique=True)
    reason: str = Field(max_length=2000)

    __table_args__ = (CheckConstraint(f"{_ONE} = 1", name="ck_act_void_of_one"),)
