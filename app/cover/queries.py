"""Answering how many days of green there are."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from sqlmodel import Session

from app.cover.rules import (
    Calendar,
    Cover,
    Tally,
    Window,
    by_shortest,
    cover_of,
    why_none,
    window,
)
from app.cover.schemas import ApartOut, By, CoverOut, CoverRow, WindowOut
from app.cover.tallies import add_up, read
from app.sending.standing.rules import WEEKDAYS
from app.settings import Settings
from app.shared.problems import Refused
from app.shared.shares import plain
from app.shared.times import now
from app.standards.planning import rounded


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
    today = now().date()
    as_of = asked.as_of or today
    if as_of > today:
        said = f"{as_of} lies ahead: the last day is {today}, by UTC"
        raise Refused("invalid", said, errors=[{"parameter": "as_of", "detail": said}])
    open_days = settings.cover_open_days if asked.open_days is None else asked.open_days
    calendar = calendar_of(settings) if open_days else Calendar()
    usual = [window(as_of, days, calendar) for days in settings.cover_windows_days]
    days = asked.window_days
    first = usual[0] if days is None else window(as_of, days, calendar)
    return Frame(as_of, calendar, open_days, first, usual)


def calendar_of(settings: Settings) -> Calendar:
    """Say on which days the roastery is open."""
    closed = frozenset(WEEKDAYS.index(day) for day in settings.closed_weekdays)
    return Calendar(closed, settings.closed_dates)


def cover(session: Session, by: By, asked: Asked, settings: Settings) -> CoverOut:
    """Say how long what is there lasts."""
    frame = frame_of(asked, settings)
    facts = read(
        session, frame.as_of, settings,
        days=max(each.days for each in (frame.asked, *frame.usual)),
        loss_days=frame.asked.days, sites=by == "site",
    )  # fmt: skip
    sums = add_up(facts, by, frame.asked.first)
    covered = [
        (tally, cover_of(tally, frame.asked, frame.as_of, frame.calendar))
        for tally in sums.found.values()
    ]
    return CoverOut(
        by=by,
        as_of=frame.as_of,
        window_days=frame.asked.days,
        counted_days=frame.asked.counted,
        open_days=frame.open_days,
        items=[
            row(tally, found, frame, by_site=by == "site")
            for tally, found in by_shortest(covered)
        ],
        apart=ApartOut(
            on_hand_g=sums.on_hand_g, used_g=sums.used_g, on_order_g=sums.on_order_g
        ),
    )  # fmt: skip


def row(tally: Tally, found: Cover, frame: Frame, *, by_site: bool = False) -> CoverRow:
    """Answer one line of the board."""
    days = found.cover.days
    return CoverRow(
        key=tally.key,
        name=tally.name,
        on_hand_g=tally.on_hand_g,
        held_g=tally.held_g,
        available_g=tally.available_g,
        reserved_g=None if by_site else tally.reserved_g,
        on_order_g=tally.on_order_g,
        used_g=found.used_g,
        sampled_g=tally.sampled_g,
        written_off_g=tally.written_off_g,
        daily_use_kg=kg_a_day(found.daily_g),
        days_of_cover=number(days),
        days_of_cover_exact=None if days is None else str(days),
        runs_out_on=found.cover.on,
        net_days_of_cover=number(found.net_days),
        days_if_released=number(found.if_released.days),
        runs_out_if_released_on=found.if_released.on,
        note=why_none(frame.asked, found.used_g),
        windows=[_window(tally, each, frame) for each in frame.usual],
        shared_lots=sorted(tally.shared_lots),
    )


def _window(tally: Tally, over: Window, frame: Frame) -> WindowOut:
    found = cover_of(tally, over, frame.as_of, frame.calendar)
    return WindowOut(
        window_days=over.days,
        counted_days=over.counted,
        used_g=found.used_g,
        daily_use_kg=kg_a_day(found.daily_g),
        days_of_cover=number(found.cover.days),
        runs_out_on=found.cover.on,
    )


def number(days: Fraction | None) -> Decimal | None:
    """Write a number of days to six decimals."""
    return None if days is None else plain(rounded(days))


def kg_a_day(grams: Fraction) -> Decimal:
    """Write grams a day as kilograms a day, to six decimals."""
    return plain(rounded(grams / 1000))
