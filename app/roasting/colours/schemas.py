"""What the API reads and answers about colours of roasts."""

from typing import Annotated

from pydantic import Field, StringConstraints

from app.green.instruments.rules import CalibrationStatus
from app.green.readings.values import Value
from app.ledger.schemas import Asked, Told
from app.roasting.rules import ColourForm
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

Scale = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=100)]
"""The word for a scale of colour, as on the instrument."""


class ColourReadingIn(Asked):
    """A colour, read once or several times of one sample."""

    scale: Scale | None = None
    form: ColourForm | None = None
    values: Annotated[list[Value], Field(min_length=1, max_length=10)]
    """Single readings; their mean counts."""
    instrument: Annotated[str, Field(max_length=200)] | None = None


class ColourIn(ColourReadingIn):
    taken_at: MomentIn | None = None


class ColourOut(Told):
    roast: str
    number: int
    """Which reading of the roast it is, from 1."""
    scale: str | None
    form: ColourForm | None
    values: list[NumberOut]
    mean: NumberOut
    spread: NumberOut
    """The largest value less the smallest."""
    instrument: str | None
    instrument_card: str | None
    """The card of the instrument, where the words are its code."""
    calibration: CalibrationStatus | None
    """What was known of that instrument when the reading was booked."""
    taken_at: MomentOut
    taken_by: str
    voided: bool
    void_reason: str | None
