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


def number(**bounds: Any) -> WithJsonSchema:  # noqa: ANN401 - JSON
    """Describe a value and its bounds, which are lost where they are put upon a described type."""
    widest = {"type": "number", "minimum": -1_000_000, "maximum": 1_000_000, "multipleOf": 0.001}
    return WithJsonSchema(widest | bounds)


Value = Annotated[Decimal, BeforeValidator(exact_number), AfterValidator(_to_milli), number()]
"""A measured value with at most three decimals."""
Moisture = Annotated[Value, Field(ge=0, le=100), number(minimum=0, maximum=100)]

Method = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""How something was measured: `ISO 6673`, `ISO 1446`, `meter` or the house's own word."""
