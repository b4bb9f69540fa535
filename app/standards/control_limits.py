"""Limits of a chart of means and ranges: how far both go while nothing but chance moves them.

The factors A2, D3 and D4 of the tables follow from the mean and the spread of the range of so many
weights that are spread by the normal law: d2 and d3. They are computed here, since the tables end
at 25 weights and a check of weight has 30 or more; the tests hold them against the tables. Ranges
say less the more weights there are, so beyond a few they are for the eye. What stands here is drawn
and decides nothing, so binary floats do.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import sqrt
from statistics import NormalDist
from typing import Final, NamedTuple

_STEP: Final = 0.05
_REACH: Final = 7
_STEPS: Final = round(2 * _REACH / _STEP) + 1
_SHARES: Final = [NormalDist().cdf(-_REACH + _STEP * i) for i in range(_STEPS)]
"""Which share of all weights lies below each step of the deviation."""


class RangeOf(NamedTuple):
    """The range of so many weights, in standard deviations of one."""

    mean: float
    """d2 of the tables."""
    deviation: float
    """d3 of the tables."""


class Factors(NamedTuple):
    """What a mean range is multiplied by."""

    a2: float
    d3: float
    d4: float


class Around(NamedTuple):
    """Where a point of the chart belongs."""

    low: float
    centre: float
    high: float

    def holds(self, value: float) -> bool:
        """Tell whether a value is inside, ends included."""
        return self.low <= value <= self.high


@lru_cache(maxsize=256)
def range_of(count: int) -> RangeOf:
    """Compute the mean and the deviation of the range.

    Raises:
        ValueError: for fewer than two weights.
    """
    if count < 2:  # noqa: PLR2004 - one weight has no range
        raise ValueError(f"{count} weight has no range")
    below = [share**count for share in _SHARES]
    above = [(1 - share) ** count for share in _SHARES]
    mean = sum(1 - low - high for low, high in zip(above, below, strict=True)) * _STEP
    square = 0.0
    for i, lower in enumerate(_SHARES):
        # Half of the step lies on this side of where both ends meet.
        inner = (1 - below[i] - above[i]) / 2
        for j in range(i + 1, _STEPS):
            inner += 1 - below[j] - above[i] + (_SHARES[j] - lower) ** count
        square += inner
    return RangeOf(mean, sqrt(2 * square * _STEP * _STEP - mean * mean))


def factors(count: int) -> Factors:
    """Give the factors of the tables."""
    spread = range_of(count)
    off = 3 * spread.deviation / spread.mean
    return Factors(3 / (spread.mean * sqrt(count)), max(0.0, 1 - off), 1 + off)


def deviation_by_ranges(counts: Sequence[int], ranges: Sequence[float]) -> float:
    """Estimate the standard deviation of one weight by the ranges of checks of any size."""
    each = [r / range_of(count).mean for count, r in zip(counts, ranges, strict=True)]
    return sum(each) / len(each)


def means_around(centre: float, deviation: float, count: int) -> Around:
    """Give the limits of the mean of so many weights: three deviations of it."""
    off = 3 * deviation / sqrt(count)
    return Around(centre - off, centre, centre + off)


def ranges_around(deviation: float, count: int) -> Around:
    """Give the limits of the range of so many weights; it is never below nothing."""
    spread = range_of(count)
    off = 3 * spread.deviation
    return Around(
        max(0.0, (spread.mean - off) * deviation),
        spread.mean * deviation,
        (spread.mean + off) * deviation,
    )
