"""Cuppings."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from sqlalchemy import Column, String, Text
from sqlmodel import Field, SQLModel

from app.quality.rules import Disposition


class Verdict(StrEnum):
    """What a tasting decides."""

    RELEASE = "release"
    BLEND_IN = "blend_in"
    """It may go into blends, up to a share of them."""
    REWORK = "rework"
    """It may go into blends as the rework of their recipe."""
    REJECT = "reject"
    SCRAP = "scrap"
    """What is left of it is destroyed."""


DECIDES: Final[Mapping[Verdict, Disposition]] = {
    Verdict.RELEASE: Disposition.RELEASED,
    Verdict.BLEND_IN: Disposition.BLEND_IN,
    Verdict.REWORK: Disposition.REWORK,
    Verdict.REJECT: Disposition.REJECTED,
    Verdict.SCRAP: Disposition.SCRAPPED,
}
"""What a roast may be used for by each verdict."""


class Cupping(SQLModel, table=True):
    """One tasting of a roast."""

    id: int | None = Field(default=None, primary_key=True)
    unit_id: int = Field(foreign_key="unit.id", index=True)
    verdict: Verdict = Field(sa_column=Column(String(10), nullable=False))
    score_milli: int | None = None
    """The score in thousandths."""
    notes: str | None = Field(default=None, max_length=2000)
    reason: str | None = Field(default=None, sa_column=Column(Text))
    cuppers: str | None = Field(default=None, sa_column=Column(Text))
    """Who tasted, as JSON; None where it was whoever booked it."""
    at_most_milli: int | None = None
    """How much of a blend it may be at the most, in thousandths of a per cent."""
    entry_id: int = Field(foreign_key="entry.id")
