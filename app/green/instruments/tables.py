"""Instruments, their calibrations, and calibrations that never were."""

from datetime import date

from sqlalchemy import BigInteger, Column, Index, String
from sqlmodel import Field, SQLModel

from app.green.instruments.rules import CalibrationResult
from app.ledger.cards import Card


class Instrument(Card, table=True):
    """One meter, oven or thermometer."""

    code: str = Field(max_length=32, unique=True)
    """What is written on it."""
    name: str = Field(max_length=200)
    kinds: str = Field(max_length=200)
    """The kinds of reading it takes, in alphabetical order, separated by commas."""
    method: str | None = Field(default=None, max_length=200)
    """How it measures moisture: the method of its readings unless they name another."""
    calibration_every_days: int | None = None
    """None for one that is not calibrated regularly."""
    note: str | None = Field(default=None, max_length=2000)


class Calibration(SQLModel, table=True):
    """An instrument was held against a reference."""

    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id")
    calibrated_on: date
    valid_until: date | None = None
    against: str = Field(max_length=200)
    """The reference method or the standard it was held against."""
    result: CalibrationResult = Field(sa_column=Column(String(10), nullable=False))
    offset_milli: int | None = Field(default=None, sa_type=BigInteger)
    """How much more than the reference it showed, in thousandths of its unit."""
    done_by: str | None = Field(default=None, max_length=200)
    certificate: str | None = Field(default=None, max_length=500)
    note: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (
        Index("ix_calibration_instrument_id", "instrument_id", "calibrated_on", "id"),
    )


class CalibrationVoid(SQLModel, table=True):
    """A calibration was recorded by mistake."""

    __tablename__ = "calibration_void"

    calibration_id: int = Field(primary_key=True, foreign_key="calibration.id")
    entry_id: int = Field(foreign_key="entry.id")
    reason: str = Field(max_length=2000)
