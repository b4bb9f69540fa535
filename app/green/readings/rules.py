"""Decisions about measurements: what a reading means."""

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
