"""Recipes of blends."""

from sqlalchemy import JSON, Column, Text
from sqlmodel import Field

from app.ledger.cards import Card


class Recipe(Card, table=True):
    """What a blend of this name is held to."""

    name: str = Field(max_length=200)
    name_key: str = Field(default="", max_length=600, unique=True)
    components: list[dict[str, str | int]] = Field(sa_column=Column(JSON, nullable=False))
    """Each with its name and its share in thousandths of a per cent, together the whole."""
    tolerance_milli: int | None = None
    """How many points a share may be off, in thousandths."""
    rework_milli: int = 0
    """How much of the whole may be rework, in thousandths of a per cent."""
    note: str | None = Field(default=None, sa_column=Column(Text))
