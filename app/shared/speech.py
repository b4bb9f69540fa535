"""How pictures are worded: in plain English as the API draws them, or as a page has it said.

What is said stands in `gettext(…)` and `ngettext(…)` where it is drawn, so that the catalogue of
the pages finds it.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Final, NamedTuple

from app.shared.days import at_clocks_here
from app.shared.mass import kg_text


def _as_it_is(said: str) -> str:
    return said


def _one_or_many(one: str, many: str, number: int) -> str:
    return one if number == 1 else many


def N_(said: str) -> str:  # noqa: N802 - gettext's own name for it
    """Mark what is said later."""
    return said


def pair(one: str, many: str) -> tuple[str, str]:
    """Mark what is said later by a number."""
    return one, many


class Speech(NamedTuple):
    """A language, and how numbers, masses and days are written in it."""

    language: str = "en"
    gettext: Callable[[str], str] = _as_it_is
    ngettext: Callable[[str, str, int], str] = _one_or_many
    number: Callable[[Decimal | int], str] = str
    mass: Callable[[int], str] = kg_text
    """Of grams."""
    day: Callable[[date], str] = date.isoformat
    decimal: str = "."
    """The decimal sign of the figures along an axis."""


def at_here(moment: datetime, speech: Speech, clock: str = "%H:%M:%S") -> str:
    """Write a moment on a paper: the day as the language has it, and the time with its zone.

    A paper leaves the house, so the zone stands there as what it is ahead of UTC.
    """
    there = at_clocks_here(moment)
    zone = timezone(there.utcoffset() or timedelta())
    return f"{speech.day(there.date())} {there:{clock}} {zone}"


PLAIN: Final = Speech()
"""As the API says it."""
