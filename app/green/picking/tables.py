"""Pick lists: which sacks somebody was told to take coffee from. They reserve nothing."""

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, Integer
from sqlmodel import Field, SQLModel


class PickList(SQLModel, table=True):
    """A list that was handed out."""

    __tablename__ = "pick_list"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    grams: int = Field(sa_type=BigInteger)
    as_suggested: bool
    """Whether it is the book's own suggestion."""
    reason: str | None = Field(default=None, max_length=2000)
    """Why other sacks were chosen."""
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint("as_suggested OR reason IS NOT NULL", name="ck_pick_list_reason"),
    )


class PickListLot(SQLModel, table=True):
    """A lot that a list may take from."""

    __tablename__ = "pick_list_lot"

    pick_list_id: int = Field(primary_key=True, foreign_key="pick_list.id")
    lot_id: int = Field(primary_key=True, foreign_key="green_lot.unit_id")

    __table_args__ = (Index("ix_pick_list_lot_lot_id", "lot_id", "pick_list_id"),)


class PickListLine(SQLModel, table=True):
    """So much out of this sack."""

    __tablename__ = "pick_list_line"

    pick_list_id: int = Field(primary_key=True, foreign_key="pick_list.id")
    number: int = Field(primary_key=True)
    sack_id: int = Field(foreign_key="sack.unit_id")
    location_id: int | None = Field(default=None, foreign_key="location.id")
    """Where it stood when the list was made."""
    grams: int = Field(sa_type=BigInteger)
    there_g: int = Field(sa_type=BigInteger)
    """What was in the sack when the list was made."""

    __table_args__ = (
        CheckConstraint("grams > 0 AND grams <= there_g", name="ck_pick_list_line_grams"),
    )
