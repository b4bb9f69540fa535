"""Checks of weight."""

from sqlalchemy import BigInteger, Column, Integer, String, Text
from sqlmodel import Field, SQLModel

from app.standards.average_quantity import Check


class CheckWeighing(SQLModel, table=True):
    """Bags of one pack that were weighed together."""

    __tablename__ = "check_weighing"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    pack_id: int = Field(foreign_key="pack.unit_id", index=True)
    plan: Check = Field(sa_column=Column("plan", String(12), nullable=False))
    batch_bags: int
    """How many bags the sample stands for."""
    tare_mg: int = Field(sa_type=BigInteger)
    """Of one empty bag; 0 where net weights were given."""
    net_mg: str = Field(sa_column=Column(Text, nullable=False))
    """Net weights in milligrams as a JSON list, in the order of weighing. A bag is weighed finer
    than the gram in which the book counts."""
    instrument: str | None = Field(default=None, max_length=200)
    note: str | None = Field(default=None, sa_column=Column(Text))
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
    """The hold that a failed check placed."""
    entry_id: int = Field(foreign_key="entry.id", index=True)
