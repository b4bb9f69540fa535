"""Decisions about green coffee: what a reading means, what a lot's stock is."""

from collections.abc import Iterable
from decimal import Decimal
from typing import NamedTuple


class Verdict(NamedTuple):
    """Whether a value is in its range, and the range; both None where none is set."""

    in_range: bool | None
    limits: tuple[Decimal, Decimal] | None


def judge_moisture(value: Decimal, limits: tuple[Decimal, Decimal]) -> Verdict:
    """Judge green moisture: both ends of the range pass."""
    low, high = limits
    return Verdict(low <= value <= high, limits)


def judge_water_activity(value: Decimal, below: Decimal) -> Verdict:
    """Judge water activity: it must stay below the limit."""
    return Verdict(0 <= value < below, (Decimal(0), below))


class Stock(NamedTuple):
    """What is left of a lot."""

    on_hand_g: int
    available_g: int
    sacks_on_hand: int


def stock_of(sacks: Iterable[tuple[int, bool]], *, lot_held: bool) -> Stock:
    """Add up a lot's sacks, each as grams left and whether it is held itself."""
    there = [(left_g, held) for left_g, held in sacks if left_g > 0]
    on_hand_g = sum(left_g for left_g, _ in there)
    free_g = 0 if lot_held else sum(left_g for left_g, held in there if not held)
    return Stock(on_hand_g, free_g, len(there))
