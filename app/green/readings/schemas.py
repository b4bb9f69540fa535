"""What the API reads and answers about measurements."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.green.instruments.rules import CalibrationStatus
from app.green.readings.rules import AlarmKind, Band, Basis
from app.green.readings.tables import ReadingKind
from app.green.readings.values import Method, Value, number
from app.ledger.schemas import Asked, Note, Told, Why
from app.shared.codes import Code, PlaceCode
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

SampleGrams = Annotated[Value, Field(gt=0, le=100_000), number(minimum=0.001, maximum=100_000)]


class ReadingIn(Asked):
    subject: Code | PlaceCode
    subject_kind: Literal["unit", "location"] | None = None
    kind: ReadingKind
    value: Value | None = None
    """The figure; may be left out where `values` are given."""
    values: Annotated[list[Value], Field(min_length=2, max_length=10)] | None = None
    """Single readings of one sample; `value` is their mean."""
    taken_at: MomentIn | None = None
    instrument: Annotated[str, Field(max_length=200)] | None = None
    method: Method | None = None
    basis: Basis | None = None
    temperature_c: Value | None = None
    sample_g: SampleGrams | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.value is None and self.values is None:
            raise ValueError("a reading has a value, or single values of which it is the mean")
        return self


class Flag(Told):
    """Something to know about a reading."""

    flag: Literal["repeat", "instrument_overdue", "instrument_failed", "instrument_unknown"]
    detail: str


class AlarmOut(Told):
    """What somebody should look at, and the hold that stands for it."""

    kind: AlarmKind
    detail: str
    hold: int | None


class ReadingOut(Told):
    id: int
    subject: str
    kind: ReadingKind
    value: NumberOut
    """Moisture is answered on wet basis, whatever the basis it was given on."""
    taken_at: MomentOut
    instrument: str | None
    taken_by: str
    in_range: bool | None
    """Null where no range is set for this kind of reading."""
    range: list[NumberOut] | None
    band: Band | None
    """Null where there are no bands for what was measured there."""
    flags: list[Flag]
    alarms: list[AlarmOut]
    method: str | None
    basis: Basis | None
    given_value: NumberOut | None
    """A moisture given on dry basis, as it was given."""
    values: list[NumberOut] | None
    temperature_c: NumberOut | None
    sample_g: NumberOut | None
    instrument_card: str | None
    """The card of the instrument, where the words are its code."""
    calibration: CalibrationStatus | None
    """What was known of that instrument when the reading was booked."""
    note: str | None
    voided: bool
    void_reason: str | None


class ReadingVoidIn(Asked):
    reason: Why


class ReadingVoided(Told):
    id: int
    subject: str
    reason: str
    open_holds: list[int]
    """Holds that its alarms stand on: they stay until quality releases them."""
    entry: int
    voided_at: MomentOut
