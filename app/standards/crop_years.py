"""Crop years, read as they are printed on sacks and papers.

A crop year is the harvest year of the origin, not the coffee year (1 October to 30 September). It
is printed as one year (`2025`) or split over two (`2025/26`, `2025-2026`); what else people write
(`May to July`) is kept as it is and means no year.
"""

import re
from typing import Final, NamedTuple

_ONE: Final = re.compile(r"(\d{4})")
_SPLIT: Final = re.compile(r"(\d{4})\s*[/-]\s*(\d{2}|\d{4})")


class CropYears(NamedTuple):
    """The calendar years in which a harvest began and ended; equal when it was one."""

    start: int
    end: int


def crop_years(printed: str) -> CropYears | None:
    """Read a crop year, or None where the text names no year or two that do not follow."""
    text = printed.strip()
    if one := _ONE.fullmatch(text):
        return CropYears(int(one[1]), int(one[1]))
    if split := _SPLIT.fullmatch(text):
        start, end = int(split[1]), split[2]
        follows = str(start + 1)
        return CropYears(start, start + 1) if end in {follows, follows[2:]} else None
    return None
