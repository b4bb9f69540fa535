"""Screen analysis: what of a sample rests on which screen, in the screen's own series.

Screens of 1/64 inch and metric sieves lie near each other and are not the same; nothing here
turns one into the other.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

HOLE_STEP_MM = Decimal("0.396875")
"""A 64th of an inch of 25.4 mm, exactly."""

WHOLE = Decimal(100)


class Series(StrEnum):
    """What a screen's number means."""

    INCH_64 = "inch64"
    """Screen n has round holes of n/64 inch."""
    MM = "mm"
    """The number is the size of the holes in millimetres."""


@dataclass(frozen=True)
class ScreenLine:
    """What rests on one screen, or in the pan below the last one."""

    label: str
    """`screen 16`: passed the next larger screen and rests on this one."""
    hole_mm: Decimal | None
    retained_pct: Decimal
    up_label: str | None
    """`17 up`: rests on this screen or a larger one."""
    up_pct: Decimal | None


def hole_mm(screen: Decimal, series: Series = Series.INCH_64) -> Decimal:
    """Give the size of a screen's holes: screen 16 has 6.35 mm."""
    return (screen * HOLE_STEP_MM).normalize() if series is Series.INCH_64 else screen


def off_by(retained: Mapping[Decimal | None, Decimal]) -> Decimal:
    """Tell how far an analysis is from 100 per cent; the pan stands under None."""
    return sum(retained.values(), Decimal()) - WHOLE


def lines(
    retained: Mapping[Decimal | None, Decimal], series: Series = Series.INCH_64
) -> list[ScreenLine]:
    """Derive the labels of an analysis, the largest screen first and the pan last."""
    return list(_lines(retained, series))


def _lines(retained: Mapping[Decimal | None, Decimal], series: Series) -> Iterator[ScreenLine]:
    larger: Decimal | None = None
    up_pct = Decimal()
    for screen in sorted((each for each in retained if each is not None), reverse=True):
        up_pct += retained[screen]
        label = _label(screen, larger, series)
        up = f"{_number(screen, series)} up"
        yield ScreenLine(label, hole_mm(screen, series), retained[screen], up, up_pct)
        larger = screen
    if None in retained:
        yield ScreenLine("pan", None, retained[None], None, None)


def _label(screen: Decimal, larger: Decimal | None, series: Series) -> str:
    """Name what lies between two screens; on the largest lies everything that large and larger."""
    if larger is None:
        return f"screen {_number(screen, series)} up"
    if series is Series.MM:
        return f"screen {screen} mm, below {larger} mm"
    if larger == screen + 1:
        return f"screen {screen}"
    # A screen was left out between the two, and nobody can tell its beans apart any more.
    return f"screens {screen} to {larger - 1}"


def _number(screen: Decimal, series: Series) -> str:
    return f"{screen} mm" if series is Series.MM else str(screen)
