"""How long what is there lasts: windows, closed days, the day it runs out."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from math import ceil
from typing import Final, NamedTuple

from app.standards.planning import Amount, days_of_cover, net_cover, root, z_of


class OrderUnit(StrEnum):
    """In what green is ordered."""

    SACK = "sack"
    PALLET = "pallet"
    CONTAINER = "container"


class LeadBasis(StrEnum):
    """What a lead time is read off."""

    CARD = "card"
    MEASURED = "measured"
    AGREED = "agreed"
    SETTING = "setting"


NO_USE: Final = "no use in window"
NO_OPEN_DAY: Final = "no open day in window"
_NINE_OF_TEN: Final = Decimal(95)
_FIVE_OF_TEN: Final = Decimal(75)
"""What is below the upper end of such a range, in per cent."""
FARTHEST_DAYS: Final = 36_525
"""A stock that lasts a hundred years is not given a day on which it runs out."""


class Calendar(NamedTuple):
    """Which days count: every day, or those on which the roastery is open."""

    closed_weekdays: frozenset[int] = frozenset()
    """0 is Monday."""
    closed_dates: frozenset[date] = frozenset()

    def is_open(self, day: date) -> bool:
        return day.weekday() not in self.closed_weekdays and day not in self.closed_dates

    def counted(self, first: date, last: date) -> int:
        """Count the days that count, both ends included."""
        return sum(self.is_open(day) for day in days_between(first, last))

    def after(self, day: date, count: int) -> date | None:
        """Name the day that is so many counting days later; None where that is beyond sight."""
        if count > FARTHEST_DAYS or day.toordinal() + count > date.max.toordinal():
            return None
        if not self.closed_weekdays and not self.closed_dates:
            return day + timedelta(days=count)
        if count == 0:
            return day
        ahead = _open_days(self, day)
        return ahead[count - 1] if count <= len(ahead) else None


@lru_cache(maxsize=8)
def _open_days(calendar: Calendar, day: date) -> Sequence[date]:
    """Name the open days after a day, as far as is looked: the same for every row of an answer."""
    last = date.fromordinal(min(day.toordinal() + FARTHEST_DAYS, date.max.toordinal()))
    return [each for each in days_between(day + timedelta(days=1), last) if calendar.is_open(each)]


def days_between(first: date, last: date) -> Iterator[date]:
    """Name the days from one to another, both included."""
    return map(date.fromordinal, range(first.toordinal(), last.toordinal() + 1))


class Window(NamedTuple):
    """The days over which use is averaged, the last of them the day that is asked about."""

    days: int
    first: date
    counted: int
    """How many of its days count."""


def window(as_of: date, days: int, calendar: Calendar) -> Window:
    """Lay a window of so many calendar days so that it ends on a day."""
    first = as_of - timedelta(days=days - 1)
    return Window(days, first, calendar.counted(first, as_of))


@dataclass
class Tally:
    """What was added up for one lot, origin, component or site, in grams."""

    key: str
    name: str | None = None
    on_hand_g: int = 0
    held_g: int = 0
    reserved_g: int = 0
    on_order_g: int = 0
    sampled_g: int = 0
    written_off_g: int = 0
    drawn: dict[date, Amount] = field(default_factory=dict)
    """Green drawn into roasts, by day; of a product what its bags took, in parts of a gram."""
    component: str | None = None
    """Of a product, the component that these figures are of."""
    shared_lots: set[str] = field(default_factory=set)

    @property
    def available_g(self) -> int:
        return self.on_hand_g - self.held_g

    def draw(self, day: date, grams: int) -> None:
        """Add what was drawn on a day."""
        self.drawn[day] = self.drawn.get(day, 0) + grams

    def used_g(self, first: date) -> Amount:
        """Add up what was drawn since a day; nothing later than the day asked about is in it."""
        return sum(grams for day, grams in self.drawn.items() if day >= first)


class Lasting(NamedTuple):
    """How long something lasts."""

    days: Fraction | None
    on: date | None
    """The day on which it runs out."""


class Cover(NamedTuple):
    """What a window says of a stock."""

    used_g: Amount
    daily_g: Fraction
    cover: Lasting
    net_days: Fraction | None
    if_released: Lasting


def lasting(days: Fraction | None, as_of: date, calendar: Calendar) -> Lasting:
    """Name the day on which stock runs out that lasts so long after the day asked about."""
    if days is None:
        return Lasting(None, None)
    return Lasting(days, calendar.after(as_of, ceil(days)))


def cover_of(tally: Tally, over: Window, as_of: date, calendar: Calendar) -> Cover:
    """Hold what is there against what was used."""
    used_g = tally.used_g(over.first)
    daily_g = Fraction(used_g, over.counted) if over.counted else Fraction()

    def _lasts(stock_g: int) -> Lasting:
        return lasting(days_of_cover(stock_g, used_g, over.counted), as_of, calendar)

    lasts = _lasts(tally.available_g)
    more_g = tally.on_order_g - tally.reserved_g
    return Cover(
        used_g,
        daily_g,
        lasts,
        net_cover(tally.available_g, tally.on_order_g, tally.reserved_g, daily_g)
        if more_g
        else lasts.days,
        _lasts(tally.on_hand_g) if tally.held_g else lasts,
    )


class Band(NamedTuple):
    """Where a stock will be: five of ten times between the inner two, nine of ten the outer."""

    low_90_g: int
    low_50_g: int
    high_50_g: int
    high_90_g: int


def spread_band(expected_g: Fraction, variance: Fraction) -> Band:
    """Bound a stock by how much use varied, as if that were normally distributed."""
    sd = root(variance)
    far, near = Fraction(z_of(_NINE_OF_TEN)) * sd, Fraction(z_of(_FIVE_OF_TEN)) * sd
    at = (expected_g - far, expected_g - near, expected_g + near, expected_g + far)
    return Band(*(max(round(each), 0) for each in at))


def why_none(over: Window, used_g: Amount) -> str | None:
    """Say why there is no number."""
    if not over.counted:
        return NO_OPEN_DAY
    return None if used_g else NO_USE


class Slot(NamedTuple):
    """A part of every charge of a style that several lots can fill."""

    component: str
    share_milli: int
    lots: Sequence[str]


def slots_named(style: str, green: Sequence[Mapping[str, object]] | None) -> list[Slot]:
    """Name the slots of a style: as they are called, else as their style is."""
    slots = green or []
    found = []
    for number, slot in enumerate(slots, 1):
        called = slot.get("component") or (style if len(slots) == 1 else f"{style}, slot {number}")
        found.append(Slot(str(called), int(str(slot["share_milli"])), _texts(slot["lots"])))
    return found


def _texts(value: object) -> list[str]:
    return [str(each) for each in value] if isinstance(value, list) else []


def filled_by(now: Sequence[Slot], then: Sequence[Slot], lot: str) -> str | None:
    """Name the component that a draw was for, by the slots of its style when it was roasted.

    It is called what the slot is called now, if the style has as many of them. The lots of a slot
    change over time, so a style with one slot fills it whatever was drawn.
    """
    slots = then or now
    number = next((n for n, slot in enumerate(slots) if lot in slot.lots), None)
    if number is None:
        number = 0 if len(slots) == 1 else None
    if number is None:
        return None
    return (now if len(now) == len(slots) else slots)[number].component


def by_shortest(tallies: Collection[tuple[Tally, Cover]]) -> list[tuple[Tally, Cover]]:
    """Put what runs out first at the top, and what was not used at the end."""
    return sorted(
        tallies,
        key=lambda each: (each[1].cover.days is None, each[1].cover.days or 0, each[0].key),
    )
