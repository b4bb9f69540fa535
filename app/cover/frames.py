"""The frame of a question: the day, the windows, the days that count."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from app.cover.rules import Calendar, Window, window
from app.sending.standing.rules import WEEKDAYS
from app.settings import Settings
from app.shared.days import today_here
from app.shared.problems import Refused
from app.shared.shares import plain
from app.standards.planning import quotient, rounded


class Asked(NamedTuple):
    """What cover is asked for; None asks for what is usual."""

    as_of: date | None
    window_days: int | None
    open_days: bool | None


class Frame(NamedTuple):
    """The day, the windows and the days that count."""

    as_of: date
    calendar: Calendar
    open_days: bool
    asked: Window
    usual: Sequence[Window]


def frame_of(asked: Asked, settings: Settings) -> Frame:
    """Settle what was left open.

    Raises:
        Refused: `invalid` for a day that lies ahead.
    """
    today = today_here()
    as_of = asked.as_of or today
    if as_of > today:
        said = f"{as_of} lies ahead: the last day is {today}"
        raise Refused("invalid", said, errors=[{"parameter": "as_of", "detail": said}])
    open_days = settings.cover_open_days if asked.open_days is None else asked.open_days
    calendar = calendar_of(settings) if open_days else Calendar()
    usual = [window(as_of, days, calendar) for days in settings.cover_windows_days]
    days = asked.window_days
    first = usual[0] if days is None else window(as_of, days, calendar)
    return Frame(as_of, calendar, open_days, first, usual)


def weeks_of(by: str, settings: Settings) -> int:
    """Say over how many weeks demand is looked at: of a single lot over none."""
    return 0 if by == "lot" else settings.forecast_weeks


def calendar_of(settings: Settings) -> Calendar:
    """Say on which days the roastery is open."""
    closed = frozenset(WEEKDAYS.index(day) for day in settings.closed_weekdays)
    return Calendar(closed, settings.closed_dates)


def number(days: Fraction | None) -> Decimal | None:
    """Write a number of days to six decimals."""
    return None if days is None else plain(rounded(days))


def kg_a_day(grams: Fraction) -> Decimal:
    """Write grams a day as kilograms a day, to six decimals."""
    return plain(quotient(grams.numerator, grams.denominator * 1000))
