"""Measured values and how they were got, as fields of a request."""

from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, WithJsonSchema

from app.shared.numbers import exact_number

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

Method = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""How something was measured: `ISO 6673`, `ISO 1446`, `meter` or the house's own word."""
