"""Arithmetic of packing."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple


def best_before(packed_on: date, shelf_life_days: int | None) -> date | None:
    """Date the bags by the product's shelf life; None where it has none."""
    return None if shelf_life_days is None else packed_on + timedelta(days=shelf_life_days)


def lot_mark(code: str) -> str:
    """Mark the bags of a pack: the letter L and its code (Directive 2011/91/EU, article 4)."""
    return f"L {code}"


class BlendedIn(NamedTuple):
    """Coffee of a blend that a tasting lets be a part of it and no more."""

    code: str
    grams: int
    at_most_milli: int
    """How much of a blend it may be, in thousandths of a per cent."""


class Beyond(NamedTuple):
    """What is more of a blend than its tasting allows."""

    codes: Sequence[str]
    grams: int
    at_most_milli: int


def beyond_tasting(parts: Sequence[BlendedIn], whole_g: int) -> Beyond | None:
    """Find what is too much of a blend; the limit itself is not.

    Each part keeps to its own limit together with all that have the same or a lower one, so that
    two bad roasts do not make a blend twice as bad.
    """
    together: list[str] = []
    grams = 0
    for part in sorted(parts, key=lambda each: each.at_most_milli):
        together.append(part.code)
        grams += part.grams
        if grams * 100_000 > part.at_most_milli * whole_g:
            return Beyond(together, grams, part.at_most_milli)
    return None
