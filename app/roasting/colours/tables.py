"""Colours that were read of roasts."""

from sqlalchemy import Column, String, Text
from sqlmodel import Field, SQLModel

from app.green.instruments.rules import CalibrationStatus
from app.roasting.rules import ColourForm


class RoastColour(SQLModel, table=True):
    """One reading of the colour of a roast; when and by whom stands in its entry."""

    __tablename__ = "roast_colour"

    unit_id: int = Field(primary_key=True, foreign_key="roast.unit_id")
    number: int = Field(primary_key=True)
    """Which reading of the roast it is, from 1."""
    scale: str | None = Field(default=None, max_length=100)
    form: ColourForm | None = Field(default=None, sa_column=Column(String(10)))
    shades: str = Field(sa_column=Column(Text, nullable=False))
    """The values that were read, in thousandths, as a JSON list."""
    instrument: str | None = Field(default=None, max_length=200)
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)
    """The card of the instrument, where it has one."""
    calibration: CalibrationStatus | None = Field(default=None, sa_column=Column(String(10)))
    """What was known of the instrument when the reading was booked."""
    entry_id: int = Field(foreign_key="entry.id", index=True)
