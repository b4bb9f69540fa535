"""What the API reads and answers about instruments and their calibrations."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from app.green.instruments.rules import CalibrationResult, CalibrationStatus
from app.green.readings.tables import ReadingKind
from app.green.readings.values import Method, Value
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note, Told, Why
from app.shared.codes import PlaceCode
from app.shared.numbers import NumberOut
from app.shared.times import Day, MomentOut


def _joined(kinds: object) -> object:
    """Bring the kinds into the one order in which the card keeps them."""
    if not isinstance(kinds, list) or not kinds:
        raise ValueError("the kinds of reading it takes, at least one")
    known = sorted(ReadingKind)
    unknown = [each for each in kinds if each not in known]
    if unknown:
        raise ValueError(f"{unknown[0]} is none of {', '.join(known)}")
    return ",".join(sorted(set(kinds)))


_KINDS: dict[str, Any] = {
    "type": "array",
    "items": {"type": "string", "enum": list(ReadingKind)},
}
Kinds = Annotated[str, BeforeValidator(_joined), WithJsonSchema(_KINDS | {"minItems": 1})]
KindsOut = Annotated[
    str, PlainSerializer(lambda kinds: kinds.split(","), return_type=list), WithJsonSchema(_KINDS)
]
Days = Annotated[int, Field(ge=1, le=3650, strict=True)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class InstrumentIn(Asked):
    code: PlaceCode
    name: Name
    kinds: Kinds
    method: Method | None = None
    calibration_every_days: Days | None = None
    note: Note | None = None


class InstrumentChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name", "kinds"})

    name: Name | None = None
    kinds: Kinds | None = None
    method: Method | None = None
    calibration_every_days: Days | None = None
    note: Note | None = None


class InstrumentOut(CardOut):
    code: str
    name: str
    kinds: KindsOut
    method: str | None
    calibration_every_days: int | None
    note: str | None


class CalibrationIn(Asked):
    calibrated_on: Day
    valid_until: Day | None = None
    against: Words
    """The reference method or standard it was held against."""
    result: CalibrationResult
    offset: Value | None = None
    """How much more than the reference it showed, in the unit of its readings."""
    by: Words | None = None
    certificate: Annotated[str, Field(max_length=500)] | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _lasts(self) -> Self:
        if self.valid_until is not None and self.valid_until < self.calibrated_on:
            raise ValueError(
                f"valid until {self.valid_until}, before it was calibrated on {self.calibrated_on}"
            )
        return self

    @property
    def offset_milli(self) -> int | None:
        """The offset in thousandths."""
        return None if self.offset is None else int(self.offset * Decimal(1000))


class CalibrationOut(Told):
    id: int
    instrument: str
    calibrated_on: date
    valid_until: date | None
    due_on: date | None
    """The last day it is good for: as said, or by the rhythm of the instrument."""
    against: str
    result: CalibrationResult
    offset: NumberOut | None
    by: str | None
    certificate: str | None
    note: str | None
    recorded_at: MomentOut
    recorded_by: str
    voided: bool


class CalibrationBooked(CalibrationOut):
    status: CalibrationStatus
    """What this makes of the instrument today."""
    in_doubt: int
    """When it failed: so many readings were taken with it since it last passed."""


class CalibrationVoidIn(Asked):
    reason: Why


class CalibrationVoided(Told):
    id: int
    instrument: str
    reason: str
    status: CalibrationStatus
    """What is left of the instrument today."""
    entry: int
    voided_at: MomentOut


class InstrumentDue(Told):
    instrument: str
    name: str
    status: CalibrationStatus
    calibrated_on: date | None
    due_on: date | None
