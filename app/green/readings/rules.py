"""Decisions about measurements: what a reading means."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple


class Verdict(NamedTuple):
    """Whether a value is in its range, and the range; both None where none is set."""

    in_range: bool | None
    limits: tuple[Decimal, Decimal] | None


class Band(StrEnum):
    """What a reading says of the coffee or the place. None of them says that coffee is good."""

    GREEN = "green"
    AMBER = "amber"
    RED = "red"
    UNKNOWN = "unknown"
    """Not measured, measured too long ago, or with an instrument that nobody can trust."""


class Basis(StrEnum):
    """Water as a part of the whole mass, or of the dry matter."""

    WET = "wet"
    DRY = "dry"


class AlarmKind(StrEnum):
    """What somebody should look at."""

    MOISTURE_HIGH = "moisture_high"
    MOISTURE_LOW = "moisture_low"
    WATER_ACTIVITY_HIGH = "water_activity_high"
    DRIFT = "drift"
    HUMIDITY_HIGH = "humidity_high"
    """A place is damper than the red limit."""
    HUMIDITY_DAMP = "humidity_damp"
    """A place was damp for too many hours on end."""


Limits = tuple[Decimal, Decimal]

NO_METHOD: Final = "method not recorded"
"""What stands for the method of a reading that names none: a group of its own."""

_WORST_FIRST: Final = (Band.RED, Band.UNKNOWN, Band.AMBER, Band.GREEN)


def worst(bands: Iterable[Band]) -> Band:
    """Find the worst; of nothing nothing is known."""
    return min(bands, key=_WORST_FIRST.index, default=Band.UNKNOWN)


def judge_moisture(value: Decimal, limits: Limits) -> Verdict:
    """Judge green moisture: both ends of the range pass."""
    low, high = limits
    return Verdict(low <= value <= high, limits)


def judge_water_activity(value: Decimal, below: Decimal) -> Verdict:
    """Judge water activity: it must stay below the limit."""
    return Verdict(0 <= value < below, (Decimal(0), below))


def band_inside(value: Decimal, green: Limits, passing: Limits) -> Band:
    """Tell the band of a value with a good range inside one that still passes, ends included."""
    if not passing[0] <= value <= passing[1]:
        return Band.RED
    return Band.GREEN if green[0] <= value <= green[1] else Band.AMBER


def band_below(value: Decimal, below: Decimal, amber_from: Decimal) -> Band:
    """Tell the band of a value that must stay below a limit and should stay well below it."""
    if value >= below:
        return Band.RED
    return Band.AMBER if value >= amber_from else Band.GREEN


def band_humidity(value: Decimal, green: Limits, red_above: Decimal) -> Band:
    """Tell the band of the humidity of a place; too dry is never worse than amber."""
    if value > red_above:
        return Band.RED
    return Band.GREEN if green[0] <= value <= green[1] else Band.AMBER


def band_temperature(value: Decimal, green: Limits) -> Band:
    """Tell the band of the temperature of a place."""
    return Band.GREEN if green[0] <= value <= green[1] else Band.AMBER


def method_key(method: str | None) -> str | None:
    """Bring a method to the form in which it is compared: `ISO 6673` and `iso6673` are one."""
    return None if method is None else "".join(method.split()).casefold()


class Point(NamedTuple):
    """One reading in a series of one subject."""

    number: int
    value: Decimal
    method: str | None
    taken_at: datetime
    trusted: bool
    """Whether the instrument was neither overdue nor failed."""

    @property
    def method_name(self) -> str:
        """The method, or the word for none."""
        return self.method or NO_METHOD


class Drift(NamedTuple):
    """How far a value went from one reading to a later one."""

    first: Point
    newest: Point
    methods_differ: bool
    """Then the two cannot be compared."""

    @property
    def points(self) -> Decimal | None:
        """The change, or None where methods differ."""
        return None if self.methods_differ else self.newest.value - self.first.value

    @property
    def days(self) -> int:
        """Whole days between them."""
        return (self.newest.taken_at - self.first.taken_at).days


def drift_of(points: Sequence[Point]) -> Drift | None:
    """Compare the newest trusted reading with the first one by the same method.

    Where no earlier one was by its method, the earliest of another method stands there, and the two
    are not compared: reference ovens alone differ by about a point (ISO 6673:2003, scope).
    """
    trusted = sorted(
        (point for point in points if point.trusted), key=lambda each: (each.taken_at, each.number)
    )
    if len(trusted) < 2:  # noqa: PLR2004 - a change takes two
        return None
    newest = trusted[-1]
    key = method_key(newest.method)
    first = next(point for point in trusted if method_key(point.method) == key)
    if first is not newest:
        return Drift(first, newest, methods_differ=False)
    return Drift(trusted[0], newest, methods_differ=True)


def is_overdue(taken_at: datetime, now: datetime, every_days: int) -> bool:
    """Tell whether a reading is too old to say anything: on the last day it still does."""
    return now - taken_at > timedelta(days=every_days)


def is_damp_for_long(since: datetime, newest: datetime, hours: int) -> bool:
    """Tell whether a damp spell has lasted so many hours."""
    return newest - since >= timedelta(hours=hours)
