"""Locations, and what was put where and when."""

from enum import StrEnum
from typing import Final

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, Integer, String
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class PlaceKind(StrEnum):
    """What sort of place it is."""

    SITE = "site"
    """A house with its yard: nothing is above it."""
    ZONE = "zone"
    RACK = "rack"
    BAY = "bay"
    LEVEL = "level"
    FLOOR = "floor"
    ROASTER_SIDE = "roaster_side"
    SHELF = "shelf"
    SILO = "silo"
    HOPPER = "hopper"
    TRAY = "tray"
    EXTERNAL = "external"


MIXING: Final = frozenset({PlaceKind.SILO, PlaceKind.HOPPER, PlaceKind.TRAY})
"""Places in which loose coffee mixes: what is drawn there is drawn from all of it."""


class Location(Card, table=True):
    """One place a sack can stand, or that holds such places."""

    code: str = Field(max_length=32, unique=True)
    kind: PlaceKind = Field(sa_column=Column(String(20), nullable=False))
    capacity_g: int | None = Field(default=None, sa_type=BigInteger)
    site: str | None = Field(default=None, max_length=200)
    parent_id: int | None = Field(default=None, foreign_key="location.id", index=True)
    """The place it is part of. It stays once coffee stood there: see `place-in-use`."""
    above_shoulder: bool | None = None
    """Whether sacks are lifted above the shoulder there; None: as the place it is part of."""
    carry_over_runs: int = Field(default=1, sa_column_kwargs={"server_default": "1"})
    """Where coffee mixes: how many tippings a rest of what was there can get into."""
    carry_over_hours: int | None = None
    """For how long it can; None without a limit in time."""


class Move(SQLModel, table=True):
    """A unit was put somewhere: on arrival without `from_id`, later from there."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    unit_id: int = Field(foreign_key="unit.id")
    from_id: int | None = Field(default=None, foreign_key="location.id")
    to_id: int = Field(foreign_key="location.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint("from_id IS NULL OR from_id <> to_id", name="ck_move_elsewhere"),
        Index("ix_move_unit_id", "unit_id", "id"),
        Index("ix_move_to_id", "to_id", "id"),
    )
