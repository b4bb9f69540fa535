"""Cuppings."""

from enum import StrEnum

from sqlalchemy import Column, String
from sqlmodel import Field, SQLModel


class Verdict(StrEnum):
    """What a tasting decides."""

    RELEASE = "release"
    REJECT = "reject"


class Cupping(SQLModel, table=True):
    """One tasting of a roast."""

    id: int | None = Field(default=None, primary_key=True)
    unit_id: int = Field(foreign_key="unit.id", index=True)
    verdict: Verdict = Field(sa_column=Column(String(10), nullable=False))
    score_milli: int | None = None
    """The score in thousandths."""
    notes: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")
