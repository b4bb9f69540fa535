"""The arithmetic of drills: drawing at random so that it can be repeated, the clock, the reminder.

That a drill is yearly, goes in both directions with quantities and aims at four hours is the custom
of food-safety audits; months and minutes are settings.
"""

import hashlib
from calendar import monthrange
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final

MONTHS: Final = 12
WANTED: Final = (
    "a lot traced forward, with quantities",
    "a pack traced backward, with quantities",
    "the time at which the report was complete",
)
"""What the record of a drill has."""


def choose(groups: Mapping[str, Sequence[int]], seed: int, what: str) -> int | None:
    """Draw a group and then one of it, so that what is rare comes as often as what is common.

    The same seed and the same groups draw the same again, on any machine.
    """
    filled = sorted(name for name, members in groups.items() if members)
    if not filled:
        return None
    group = groups[filled[_draw(seed, f"{what} group", len(filled))]]
    return sorted(group)[_draw(seed, what, len(group))]


def _draw(seed: int, what: str, among: int) -> int:
    digest = hashlib.sha256(f"{seed}:{what}".encode()).digest()
    return int.from_bytes(digest, "big") % among


def minutes_taken(started: datetime, completed: datetime) -> Decimal:
    """Tell how many minutes a drill took, to a tenth."""
    seconds = (completed - started) // timedelta(seconds=1)
    return (Decimal(seconds) / 60).quantize(Decimal("0.1"))


def goal_met(started: datetime, completed: datetime, goal_minutes: int) -> bool:
    """Tell whether the report was complete within the goal."""
    return completed - started <= timedelta(minutes=goal_minutes)


def next_due(last: date | None, every_months: int) -> date | None:
    """Tell the day on which the last drill is so many months old; None where there was none."""
    if last is None:
        return None
    years, month = divmod(last.month - 1 + every_months, MONTHS)
    year = last.year + years
    return date(year, month + 1, min(last.day, monthrange(year, month + 1)[1]))


def is_overdue(on: date, last: date | None, every_months: int) -> bool:
    """Tell whether a drill has to be run: the last one is too old, or there was none."""
    due = next_due(last, every_months)
    return due is None or on >= due


def lacking(*, forward: bool, backward: bool, completed: bool) -> list[str]:
    """Say what a drill's record lacks: both directions with quantities, a start and an end."""
    there = (forward, backward, completed)
    return [said for said, is_there in zip(WANTED, there, strict=True) if not is_there]
