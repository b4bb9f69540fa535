"""Forecasting what was added up: by whole weeks, so that closed days weigh on none of them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil
from typing import Final, NamedTuple

from app.cover.rules import Band, Calendar, Tally
from app.standards.forecasting import (
    Chosen,
    Shape,
    choose,
    classify,
    cover_range,
    demand_range,
    stock_bands,
)
from app.standards.planning import Amount

WEEK: Final = 7
LOOK_AHEAD_DAYS: Final = 364
FEWEST_WEEKS: Final = 4
FEWEST_WITH_USE: Final = 2
TOO_FEW: Final = (
    f"too little use to forecast by: it takes {FEWEST_WITH_USE} weeks with use, and "
    f"{FEWEST_WEEKS} weeks since the first of them"
)
NOT_OF_LOTS: Final = (
    "a single lot has none to go by: when it is drawn on, and which lot comes after it, is decided "
    "and no matter of chance; its component and its origin have one"
)


class Until(NamedTuple):
    """For how many days stock lasts with some chance, and the day on which it then runs out."""

    days: Decimal | None
    """To one decimal; None for longer than is looked ahead."""
    on: date | None


class Range(NamedTuple):
    """How long stock lasts at least, with a chance of 50 % and of 90 %."""

    half: Until
    nine_of_ten: Until


class Basis(StrEnum):
    """What is expected to be used where nothing is planned."""

    FORECAST = "forecast"
    AVERAGE = "average"


class Foretold(NamedTuple):
    """What was used by week, how that comes, and what is expected of the weeks to come."""

    as_of: date
    used: Sequence[int]
    """Grams by week from the first with any use, oldest first."""
    shape: Shape
    chosen: Chosen

    @property
    def weekly_g(self) -> int:
        return round(self.chosen.forecast.rate)

    @property
    def daily_g(self) -> Fraction:
        return Fraction(self.weekly_g, WEEK)

    @property
    def why_none(self) -> str | None:
        """Say why nothing is counted on it; None where there is enough to go by."""
        enough = len(self.used) >= FEWEST_WEEKS and self.shape.demands >= FEWEST_WITH_USE
        return None if enough else TOO_FEW

    def lasts(self, stock_g: int) -> Range:
        """Say how long stock lasts, as chance plays it; in calendar days."""
        found = cover_range(
            stock_g, self.used, days_per_period=WEEK, ahead=self.chosen.forecast,
            look_ahead_days=LOOK_AHEAD_DAYS,
        )  # fmt: skip
        return Range(self._until(found.days_50), self._until(found.days_90))

    def _until(self, days: float | None) -> Until:
        if days is None:
            return Until(None, None)
        shown = rounded_float(days, 1)
        return Until(shown, Calendar().after(self.as_of, ceil(shown)))

    def bands(self, stock_g: int, arriving: Sequence[int], wanted: Sequence[Amount]) -> list[Band]:
        """Bound what stock will be at the end of each day, with what arrives and what is wanted."""
        found = stock_bands(
            stock_g, arriving, [round(grams) for grams in wanted], self.used,
            self.chosen.forecast, days_per_period=WEEK,
        )  # fmt: skip
        return [Band(*map(round, each)) for each in found]

    def within(self, weeks: int) -> tuple[int, int]:
        """Bound what so many weeks will use, nine of ten times."""
        low, high = demand_range(self.used, self.chosen.forecast, weeks)
        return round(low), round(high)


class Foresight(NamedTuple):
    """A forecast that is counted on, or why there is none."""

    forecast: Foretold | None
    why_none: str | None


def foresee(tally: Tally, by: str, as_of: date, weeks: int) -> Foresight:
    """Forecast the use of a tally, where that can be counted on."""
    if by == "lot":
        return Foresight(None, NOT_OF_LOTS)
    found = foretell(tally.drawn, as_of, weeks)
    return Foresight(None if found.why_none else found, found.why_none)


def foretell(drawn: Mapping[date, Amount], as_of: date, weeks: int) -> Foretold:
    """Forecast from what was drawn by day, by the method that erred least."""
    used = by_week(drawn, as_of, weeks)
    return Foretold(as_of, used, classify(used), choose(used))


def by_week(drawn: Mapping[date, Amount], as_of: date, weeks: int) -> list[int]:
    """Add up the weeks that end on a day, from the first with any use, oldest first."""
    used: defaultdict[int, Amount] = defaultdict(int)
    first = as_of - timedelta(days=WEEK * weeks - 1)
    for day, grams in drawn.items():
        if day >= first and grams:
            used[(as_of - day).days // WEEK] += grams
    return [round(used[ago]) for ago in range(max(used, default=-1), -1, -1)]


def rounded_float(number: float, places: int) -> Decimal:
    """Write a statistic with so many decimals."""
    return Decimal(round(number * 10**places)).scaleb(-places)
