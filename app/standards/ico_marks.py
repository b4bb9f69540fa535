"""ICO identification marks, and the coffee year without which a mark says nothing.

A mark is the country's code, the exporter's code and the serial number of the shipment (ITC Coffee
Guide, Identification of exports). Serials begin again at 1 each 1 October, so a mark names one
shipment only together with its coffee year, 1 October to 30 September. Leading zeros are often
dropped on sacks: marks are compared by number, and shown padded to three, four and four digits.

The guide says that a serial has up to four digits, a trade article on the rules revised in 2022
says five: both are taken. What has no such form is no mark and is never repaired by guessing.
"""

import re
from datetime import date
from enum import StrEnum
from typing import Final, NamedTuple

_BETWEEN: Final = r"\s*[/-]\s*"
_EXACT: Final = re.compile(r"([0-9]{3})/([0-9]{4})/([0-9]{4})")
_THREE: Final = re.compile(_BETWEEN.join([r"([0-9]{1,3})", r"([0-9]{1,4})", r"([0-9]{1,4})"]))
_FIVE: Final = re.compile(_BETWEEN.join([r"([0-9]{1,3})", r"([0-9]{1,4})", r"([0-9]{5})"]))
_LONG: Final = re.compile(_BETWEEN.join([r"[0-9]+"] * 3))
_TWO: Final = re.compile(_BETWEEN.join([r"[0-9]+"] * 2))
_DIGITS: Final = re.compile(r"[0-9]+")
_YEAR: Final = re.compile(r"([0-9]{4})\s*/\s*([0-9]{2}|[0-9]{4})")

BEGINS: Final = 10
"""The month with which a coffee year begins."""


class MarkForm(StrEnum):
    """What a text that should be a mark looks like, in the order in which it is judged."""

    BLANK = "blank"
    EXACT = "exact"
    """`002/1961/0978`, to the character."""
    THREE_GROUPS = "three_groups"
    """Up to three, four and four digits with `/` or `-` between: padded, it is a mark."""
    FIVE_DIGIT_SERIAL = "five_digit_serial"
    """The same with five digits at the end, which are kept."""
    TOO_LONG = "too_long"
    """Three groups, and one of them has more digits than a mark."""
    TWO_GROUPS = "two_groups"
    DIGITS = "digits"
    OTHER = "other"


class Mark(NamedTuple):
    """A mark as numbers, so that dropped zeros make no difference."""

    country: int
    exporter: int
    serial: int

    @property
    def canonical(self) -> str:
        """The mark as it is meant to be printed: `002/1961/0978`."""
        return f"{self.country:03}/{self.exporter:04}/{self.serial:04}"

    @property
    def key(self) -> str:
        """The mark as it is compared: `2/1961/978`."""
        return f"{self.country}/{self.exporter}/{self.serial}"


def form_of(printed: str) -> MarkForm:
    """Tell what a printed text looks like."""
    text = printed.strip()
    if not text:
        return MarkForm.BLANK
    if _EXACT.fullmatch(printed):
        return MarkForm.EXACT
    for pattern, form in (
        (_THREE, MarkForm.THREE_GROUPS),
        (_FIVE, MarkForm.FIVE_DIGIT_SERIAL),
        (_LONG, MarkForm.TOO_LONG),
        (_TWO, MarkForm.TWO_GROUPS),
        (_DIGITS, MarkForm.DIGITS),
    ):
        if pattern.fullmatch(text):
            return form
    return MarkForm.OTHER


def parse_mark(printed: str) -> Mark | None:
    """Read a mark from any of its printed forms, or None where the text is none."""
    text = printed.strip()
    found = _THREE.fullmatch(text) or _FIVE.fullmatch(text)
    return Mark(*map(int, found.groups())) if found else None


def coffee_year(day: date) -> int:
    """Tell the coffee year of a day by the calendar year in which it began."""
    return day.year if day.month >= BEGINS else day.year - 1


def coffee_year_label(year: int) -> str:
    """Write a coffee year: 2025 is `2025/26`."""
    return f"{year:04}/{(year + 1) % 100:02}"


def read_coffee_year(said: str) -> int | None:
    """Read a coffee year as it is written, or None where the two years do not follow."""
    found = _YEAR.fullmatch(said.strip())
    if found is None:
        return None
    year = int(found[1])
    follows = f"{year + 1:04}"
    return year if found[2] in {follows, follows[2:]} else None
