"""What was measured, of which unit or place."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, String, Text
from sqlmodel import Field, SQLModel

from app.green.instruments.rules import CalibrationStatus
from app.green.readings.rules import AlarmKind, Basis


class ReadingKind(StrEnum):
    """What was measured."""

    MOISTURE = "moisture"
    """Per cent of total mass, wet basis."""
    WATER_ACTIVITY = "water_activity"
    """0 to 1."""
    DENSITY = "density"
    """Grams per litre."""
    TEMPERATURE = "temperature"
    """Degrees Celsius."""
    RELATIVE_HUMIDITY = "relative_humidity"
    """Per cent."""
    COLOUR = "colour"
    """On the instrument's own scale, higher is lighter."""


class Reading(SQLModel, table=True):
    """One measurement of a unit or of a place."""

    id: int | None = Field(default=None, primary_key=True)
    unit_id: int | None = Field(default=None, foreign_key="unit.id")
    location_id: int | None = Field(default=None, foreign_key="location.id")
    kind: ReadingKind = Field(sa_column=Column(String(20), nullable=False))
    value_milli: int = Field(sa_type=BigInteger)
    """The value in thousandths, exactly; of moisture on wet basis."""
    instrument: str | None = Field(default=None, max_length=200)
    entry_id: int = Field(foreign_key="entry.id", index=True)
    method: str | None = Field(default=None, max_length=200)
    """How it was measured, as it was said or as the instrument's card says."""
    basis: Basis | None = Field(default=None, sa_column=Column(String(3)))
    """On which basis a moisture was given; None for the wet basis of older readings."""
    given_milli: int | None = Field(default=None, sa_type=BigInteger)
    """A moisture given on dry basis, as it was given."""
    temperature_milli: int | None = Field(default=None, sa_type=BigInteger)
    """How warm the sample was, in thousandths of a degree Celsius."""
    sample_milli: int | None = Field(default=None, sa_type=BigInteger)
    """What the sample weighed, in thousandths of a gram."""
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)
    """The card of the instrument, where it has one."""
    replicates: str | None = Field(default=None, sa_column=Column(Text))
    """A JSON list of the single readings in thousandths, as they were given."""
    calibration: CalibrationStatus | None = Field(default=None, sa_column=Column(String(10)))
    """What was known of the instrument when the reading was booked."""
    note: str | None = Field(default=None, max_length=2000)

    __table_args__ = (
        CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_reading_one_subject"
        ),
        Index("ix_reading_unit_id", "unit_id", "kind", "id"),
        Index("ix_reading_location_id", "location_id", "kind", "id"),
    )


class ReadingVoid(SQLModel, table=True):
    """A reading was recorded by mistake."""

    __tablename__ = "reading_void"

    reading_id: int = Field(primary_key=True, foreign_key="reading.id")
    entry_id: int = Field(foreign_key="entry.id")
    reason: str = Field(max_length=2000)


class ReadingAlarm(SQLModel, table=True):
    """What was wrong with a reading when it was booked, and the hold that stood for it then."""

    __tablename__ = "reading_alarm"

    id: int | None = Field(default=None, primary_key=True)
    reading_id: int = Field(foreign_key="reading.id", index=True)
    unit_id: int | None = Field(default=None, foreign_key="unit.id", index=True)
    kind: AlarmKind = Field(sa_column=Column(String(20), nullable=False))
    detail: str = Field(max_length=500)
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
