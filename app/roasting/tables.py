"""Machines, and what is known of a roast beside its mass."""

from enum import StrEnum

from sqlalchemy import BigInteger, Column, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class MachineKind(StrEnum):
    """What a machine does."""

    ROASTER = "roaster"
    BLENDER = "blender"
    PACKING_LINE = "packing_line"


class Machine(Card, table=True):
    """A roaster, a blender or a packing line."""

    code: str = Field(max_length=32, unique=True)
    kind: MachineKind = Field(sa_column=Column(String(20), nullable=False))
    capacity_g: int | None = Field(default=None, sa_type=BigInteger)
    """The largest charge it takes."""


class Roast(SQLModel, table=True):
    """One charge roasted and cooled together; its end weight is the unit's mass."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    machine_id: int = Field(foreign_key="machine.id", index=True)
    style: str | None = Field(default=None, max_length=200)
    charge_g: int = Field(sa_type=BigInteger)
    passed: bool
    """Whether every check of the gate was there and met."""
    checks: str = Field(sa_column=Column(Text, nullable=False))
    """The checks as they were judged, as JSON."""
