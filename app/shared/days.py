"""Days, which are those of the house: at six in the morning in Melbourne UTC still has yesterday.

Moments are kept in UTC all the same; a day is read off them by the zone of the settings.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

_zone: ContextVar[tzinfo] = ContextVar("zone", default=UTC)
_DAY: Final = timedelta(days=1)
_SECOND: Final = timedelta(seconds=1)


@contextmanager
def days_in(zone: str) -> Iterator[None]:
    """Count days as in a zone, by its name, for as long as this goes on."""
    told = _zone.set(UTC if zone == "UTC" else ZoneInfo(zone))
    try:
        yield
    finally:
        _zone.reset(told)


def zone_here() -> tzinfo:
    """Name the zone of the clocks that people here look at."""
    return _zone.get()


def day_of(moment: datetime) -> date:
    """Tell which day a moment is of."""
    return at_clocks_here(moment).date()


def at_clocks_here(moment: datetime) -> datetime:
    """Bring a moment to the clocks of the house."""
    try:
        return moment.astimezone(_zone.get())
    except OverflowError:  # on the first or the last day there is
        return moment


def today_here() -> date:
    """Tell which day it is."""
    return day_of(datetime.now(UTC))


def begin_of(day: date) -> datetime:
    """Name the moment at which a day begins."""
    try:
        return datetime.combine(day, time(), _zone.get()).astimezone(UTC)
    except OverflowError:  # the first day there is, east of UTC
        return datetime.min.replace(tzinfo=UTC)


def end_of(day: date) -> datetime:
    """Name the moment at which a day is over: where clocks change, 23 or 25 hours on."""
    return datetime.max.replace(tzinfo=UTC) if day == date.max else begin_of(day + _DAY)


def clocks(begin: datetime, end: datetime) -> list[tuple[datetime, int]]:
    """List by how many seconds the clocks were ahead of UTC, and until when each time."""
    found = []
    at, ahead = begin, _ahead(begin)
    while at < end:
        after = min(at + _DAY, end)
        if (then := _ahead(after)) != ahead:
            found.append((_change(at, after), ahead))
            ahead = then
        at = after
    return [*found, (end, ahead)]


def _change(before: datetime, after: datetime) -> datetime:
    """Find the second in which clocks change between two moments."""
    ahead = _ahead(before)
    while after - before > _SECOND:
        middle = before + (after - before) // _SECOND // 2 * _SECOND
        before, after = (middle, after) if _ahead(middle) == ahead else (before, middle)
    return after


def _ahead(moment: datetime) -> int:
    shift = moment.astimezone(_zone.get()).utcoffset() or timedelta()
    return round(shift / _SECOND)
