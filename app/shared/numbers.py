"""Exact numbers in and out: JSON numbers alone on the way in, a `Decimal` on the way out."""

from decimal import Decimal
from typing import Annotated

from pydantic import WithJsonSchema


def exact_number(value: object) -> Decimal:
    """Accept a JSON number alone: text and booleans are none."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise ValueError("a JSON number is wanted")  # noqa: TRY004 - Pydantic turns it into a 422
    return Decimal(value)


NumberOut = Annotated[Decimal, WithJsonSchema({"type": "number"})]
"""A field that answers an exact decimal as a JSON number."""
