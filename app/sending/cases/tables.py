"""Cases, crate loads and pallets, and every change of what is in one."""

from enum import StrEnum

from sqlalchemy import CheckConstraint, Column, Integer, String, Text
from sqlmodel import Field, SQLModel


class CaseKind(StrEnum):
    """What bags stand in; a pallet alone holds other ones."""

    CASE = "case"
    CRATE_LOAD = "crate_load"
    """A reusable crate with what is in it."""
    PALLET = "pallet"


class Case(SQLModel, table=True):
    """Something that bags, or on a pallet cases, are moved in as one: a logistic unit."""

    __tablename__ = "logistic_unit"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    code: str = Field(max_length=32, unique=True)
    """A Serial Shipping Container Code, or a code of the house."""
    kind: CaseKind = Field(sa_column=Column(String(12), nullable=False))
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)


class CaseChange(SQLModel, table=True):
    """Something was put into a case, or taken out of it, at one time."""

    __tablename__ = "case_change"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="logistic_unit.id", index=True)
    reason: str | None = Field(default=None, sa_column=Column(Text))
    """Why it was taken out, where somebody said."""
    entry_id: int = Field(foreign_key="entry.id", index=True)


class CaseLine(SQLModel, table=True):
    """So many bags of a pack in or out, or one case onto a pallet or off it."""

    __tablename__ = "case_line"

    change_id: int = Field(primary_key=True, foreign_key="case_change.id")
    number: int = Field(primary_key=True)
    pack_id: int | None = Field(default=None, foreign_key="unit.id", index=True)
    inner_id: int | None = Field(default=None, foreign_key="logistic_unit.id", index=True)
    count: int
    """Bags, or one case; below zero what was taken out."""

    __table_args__ = (
        CheckConstraint("(pack_id IS NULL) <> (inner_id IS NULL)", name="ck_case_line_one"),
        CheckConstraint("count <> 0", name="ck_case_line_not_zero"),
    )


class DispatchCase(SQLModel, table=True):
    """A case that left whole with a dispatch."""

    __tablename__ = "dispatch_case"

    dispatch_id: int = Field(primary_key=True, foreign_key="dispatch.unit_id")
    case_id: int = Field(primary_key=True, foreign_key="logistic_unit.id", index=True)
    named: bool
    """Whether the dispatch named it, or it stood on a pallet that was named."""
