"""What the API reads and answers about measurements."""

from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from app.green.readings.tables import ReadingKind
from app.ledger.schemas import Asked, Told
from app.shared.codes import Code, PlaceCode
from app.shared.numbers import NumberOut, exact_number
from app.shared.times import MomentIn, MomentOut

MILLI = Decimal("0.001")


def _to_milli(value: Decimal) -> Decimal:
    if not value.is_finite() or abs(value) > 1_000_000:  # noqa: PLR2004 - far beyond any instrument
        raise ValueError("a value is between -1000000 and 1000000")
    if value != value.quantize(MILLI):
        raise ValueError("a value has at most 3 decimals")
    return value


_NUMBER: dict[str, Any] = {"type": "number", "multipleOf": 0.001}
Value = Annotated[
    Decimal, BeforeValidator(exact_number), AfterValidator(_to_milli), WithJsonSchema(_NUMBER)
]
"""A measured value with at most three decimals."""
Moisture = Annotated[Value, Field(ge=0, le=100)]


class ReadingIn(Asked):
    subject: Code | PlaceCode
    subject_kind: Literal["unit", "location"] | None = None
    kind: ReadingKind
    value: Value
    taken_at: MomentIn | None = None
    instrument: Annotated[str, Field(max_length=200)] | None = None


class ReadingOut(Told):
    id: int
    subject: str
    kind: ReadingKind
    value: NumberOut
    taken_at: MomentOut
    instrument: str | None
    taken_by: str
    in_range: bool | None
    """Null where no range is set for this kind of reading."""
    range: list[NumberOut] | None
