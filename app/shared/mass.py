"""Mass: whole grams inside, kilograms with at most three decimals outside.

A number comes in as `Decimal` (the request parser never makes a binary float) and
goes out as `Decimal`, so `60.1` stays `60.1` on the whole way.
"""

from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, NewType

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from app.shared.flaws import Flaw

Grams = NewType("Grams", int)
"""A whole number of grams."""

HEAVIEST_G = Grams(30_000_000)
"""Thirty tonnes: more than a container holds, so more is a slip of the finger."""

GRAM = Decimal("0.001")


def grams_from_kg(kilograms: Decimal) -> Grams:
    """Turn kilograms into grams; ValueError for what is finer than a gram or over 30 t."""
    if not kilograms.is_finite():
        raise ValueError("a mass is a finite number of kilograms")
    if abs(kilograms) > HEAVIEST_G * GRAM:
        raise Flaw("%(kilograms)s kg is over the limit of 30000 kg", kilograms=kilograms)
    if kilograms != kilograms.quantize(GRAM):
        raise Flaw("%(kilograms)s kg is finer than a gram: at most 3 decimals", kilograms=kilograms)
    return Grams(int(kilograms.scaleb(3)))


@lru_cache(maxsize=50_000)
def kg_from_grams(grams: int) -> Decimal:
    """Turn grams into kilograms: `Decimal("60.0")`, `Decimal("0.125")`.

    A long answer has the same few masses again and again.
    """
    kilograms = (Decimal(grams) * GRAM).normalize()
    return kilograms if kilograms.as_tuple().exponent < 0 else kilograms.quantize(Decimal("0.1"))  # type: ignore[operator]


def kg_text(grams: int) -> str:
    """Write grams as kilograms for a sentence: `12.5 kg`."""
    return f"{kg_from_grams(grams)} kg"


def share_out(total: Grams, weights: Sequence[int]) -> list[Grams]:
    """Split `total` in proportion to `weights` without losing a gram.

    Every share is rounded down; the grams left over go to the largest
    remainders, one each, the earlier first.
    """
    whole = sum(weights)
    shares = [total * weight // whole for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda i: -(total * weights[i] % whole))
    for i in by_remainder[: total - sum(shares)]:
        shares[i] += 1
    return [Grams(share) for share in shares]


def _number(value: object) -> Decimal:
    """Accept a JSON number alone: text and booleans are not a mass."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise ValueError("a mass is a JSON number of kilograms")  # noqa: TRY004 - Pydantic turns it into a 422
    return Decimal(value)


def _positive(value: object) -> Grams:
    grams = grams_from_kg(_number(value))
    if grams <= 0:
        raise Flaw("a mass must be above zero")
    return grams


def _signed(value: object) -> Grams:
    grams = grams_from_kg(_number(value))
    if grams == 0:
        raise Flaw("a change of zero changes nothing")
    return grams


_MASS = {"type": "number", "minimum": 0.001, "maximum": 30000, "multipleOf": 0.001}

KgIn = Annotated[int, BeforeValidator(_positive), WithJsonSchema(_MASS)]
"""A field that reads kilograms above zero and holds grams."""

SignedKgIn = Annotated[
    int,
    BeforeValidator(_signed),
    WithJsonSchema(
        {
            "type": "number",
            "minimum": -30000,
            "maximum": 30000,
            "multipleOf": 0.001,
            "not": {"const": 0},
        }
    ),
]
"""A field that reads a signed change in kilograms and holds grams."""

KgOut = Annotated[
    int,
    PlainSerializer(kg_from_grams, return_type=Decimal),
    WithJsonSchema({"type": "number"}),
]
"""A field that holds grams and answers kilograms."""
