"""Machines and their runs, and what is known of a roast beside its mass."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import BigInteger, Column, Index, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card
from app.shared.times import UtcDateTime


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
    carry_over_runs: int = Field(default=1, sa_column_kwargs={"server_default": "1"})
    """How many runs a rest of one can get into."""
    carry_over_hours: int | None = None
    """For how long it can; None without a limit in time."""


class MachineRun(SQLModel, table=True):
    """A unit came off a machine; the order of runs tells what could have carried over."""

    __tablename__ = "machine_run"

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    machine_id: int = Field(foreign_key="machine.id")
    ran_at: datetime = Field(sa_type=UtcDateTime)

    __table_args__ = (Index("ix_machine_run_order", "machine_id", "ran_at", "unit_id"),)


class CleanDown(SQLModel, table=True):
    """A machine was emptied and cleaned: nothing carries over past it."""

    __tablename__ = "clean_down"

    id: int | None = Field(default=None, primary_key=True)
    machine_id: int = Field(foreign_key="machine.id")
    cleaned_at: datetime = Field(sa_type=UtcDateTime)
    note: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (Index("ix_clean_down_order", "machine_id", "cleaned_at"),)


class Roast(SQLModel, table=True):
    """One charge roasted and cooled together; its end weight is the unit's mass."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    style: str | None = Field(default=None, max_length=200)
    charge_g: int = Field(sa_type=BigInteger)
    passed: bool
    """Whether every check of the gate was there and met."""
    checks: str = Field(sa_column=Column(Text, nullable=False))
    """The checks as they were judged, as JSON."""
    style_id: int | None = Field(default=None, foreign_key="style.id")
    style_version: int | None = None
    """By which version of the style it was judged; None where its style is a word alone."""
    warnings: str | None = Field(default=None, sa_column=Column(Text))
    """What was pointed out, as JSON."""
    roasted_moisture_milli: int | None = None
    """The moisture of the roasted coffee where it was measured, in thousandths of a per cent."""
    drop_milli: int | None = None
    """How hot it was when it was dropped, in thousandths of a degree Celsius."""
    total_s: int | None = None
    """How long it was in the drum."""
