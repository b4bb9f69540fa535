"""Picks and drills, each row written once."""

from sqlalchemy import BigInteger, Column, Integer, Text
from sqlmodel import Field, SQLModel


class DrillPick(SQLModel, table=True):
    """A lot and a pack drawn at random. Every draw stays, so nobody draws until one pleases."""

    __tablename__ = "drill_pick"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    seed: int = Field(sa_type=BigInteger)
    at_entry: int = Field(foreign_key="entry.id")
    """What was in the book up to this entry could be drawn."""
    lot_id: int | None = Field(default=None, foreign_key="green_lot.unit_id")
    pack_id: int | None = Field(default=None, foreign_key="pack.unit_id")
    lots: int
    """How many lots there were to draw from."""
    packs: int
    entry_id: int = Field(foreign_key="entry.id", index=True)


class Drill(SQLModel, table=True):
    """What a drill was asked to trace; the rest stands in its case."""

    case_id: int = Field(primary_key=True, foreign_key="recall_case.id")
    lot_id: int | None = Field(default=None, foreign_key="green_lot.unit_id")
    """Traced forward."""
    pack_id: int | None = Field(default=None, foreign_key="pack.unit_id")
    """Traced backward."""
    pick_id: int | None = Field(default=None, foreign_key="drill_pick.id")


class DrillReport(SQLModel, table=True):
    """The end of a drill: the clock stops when this is written."""

    __tablename__ = "drill_report"

    case_id: int = Field(primary_key=True, foreign_key="recall_case.id")
    figures: str = Field(sa_column=Column(Text, nullable=False))
    """What both traces found, as JSON."""
    gaps: str = Field(sa_column=Column(Text, nullable=False))
    """What the records lacked, as JSON."""
    own_gaps: str = Field(sa_column=Column(Text, nullable=False))
    """What whoever ran it found beside, as JSON."""
    entry_id: int = Field(foreign_key="entry.id", index=True)


class DrillSignOff(SQLModel, table=True):
    """Somebody who did not run the drill looked at it."""

    __tablename__ = "drill_sign_off"

    case_id: int = Field(primary_key=True, foreign_key="recall_case.id")
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)
