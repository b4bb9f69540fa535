"""What was measured, of which unit or place."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, String
from sqlmodel import Field, SQLModel


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
    """The value in thousandths, exactly."""
    instrument: str | None = Field(default=None, max_length=200)
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_reading_one_subject"
        ),
        Index("ix_reading_unit_id", "unit_id", "kind", "id"),
        Index("ix_reading_location_id", "location_id", "kind", "id"),
    )
