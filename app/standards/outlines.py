"""Outlines on the Earth: rounded to six decimals, which way round, whether sound, how large.

Six decimals of a degree are about a tenth of a metre. An outline is judged as it will be handed
over: in whole millionths of a degree, which are integers, so that no verdict hangs on how a binary
float rounds. Areas alone need the coordinates as they were given.
"""

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise
from typing import Final

import shapely
from pyproj import Geod

from app.standards.geojson import Polygon, Position, Ring

Corner = tuple[int, int]
"""Longitude and latitude in millionths of a degree."""
Corners = Sequence[Corner]
"""A closed ring; no corner twice in a row."""

_SIXTH: Final = Decimal("0.000001")
_MILLION: Final = 1_000_000
_HALF_TURN: Final = 180 * _MILLION
_WGS84: Final = Geod(ellps="WGS84")
_AT: Final = re.compile(r"\[([-+.e0-9]+) ([-+.e0-9]+)\]")

LEAST_CORNERS: Final = 3
MOST_CORNERS: Final = 5_000
"""More than anybody walks round a plot: whether an outline crosses itself takes, where it was made
to take long, four times as long with twice as many."""


def millionths(degrees: Decimal) -> int:
    """Round degrees to six decimals, a half to the even digit: 5.8227397 becomes 5.822740."""
    return int(degrees.quantize(_SIXTH, ROUND_HALF_EVEN).scaleb(6))


def degrees(whole: int) -> str:
    """Write millionths as degrees, always with six decimals."""
    before, after = divmod(abs(whole), _MILLION)
    return f"{'-' if whole < 0 else ''}{before}.{after:06d}"


def corner(position: Position) -> Corner:
    """Round a position, without its altitude."""
    return millionths(position[0]), millionths(position[1])


def corners(ring: Ring) -> Corners:
    """Round a closed ring, leaving out what falls together with the corner before it."""
    rounded = [corner(position) for position in ring]
    return [rounded[0], *(here for before, here in pairwise(rounded) if here != before)]


def counterclockwise(outline: Corners) -> bool:
    """Tell which way round a ring runs."""
    return sum(x * b - a * y for (x, y), (a, b) in pairwise(outline)) > 0


def fault(outline: Corners) -> str | None:
    """Say why a rounded ring is no outline, or None where it is one."""
    there = len(outline) - 1
    if there > MOST_CORNERS:
        return f"it has {there} corners; {MOST_CORNERS} are the most of an outline"
    if len(set(outline)) < LEAST_CORNERS:
        return "rounded to six decimals it has fewer than three corners"
    if _on_one_line(outline):
        return "all its corners lie on one line"
    if any(abs(a - x) > _HALF_TURN for (x, _), (a, _) in pairwise(outline)):
        return "it goes over the line of 180 degrees: cut it there in two (RFC 7946, 3.1.9)"
    return _crossing(outline)


def _crossing(outline: Corners) -> str | None:
    """Say where a ring crosses or touches itself."""
    reason: str = shapely.is_valid_reason(shapely.Polygon(outline))
    if reason == "Valid Geometry":
        return None
    place = _AT.search(reason)
    if place is None:
        return f"it is no simple outline: {reason}"
    longitude, latitude = (degrees(round(Decimal(each))) for each in place.groups())
    return f"it crosses or touches itself at [{longitude}, {latitude}]"


def _on_one_line(outline: Corners) -> bool:
    x, y = outline[0]
    a, b = outline[1][0] - x, outline[1][1] - y
    return all(a * (latitude - y) == b * (longitude - x) for longitude, latitude in outline)


def area_m2(polygon: Polygon) -> Decimal:
    """Measure a polygon on the WGS84 ellipsoid, its holes taken out: m² with two decimals.

    Its edges are the shortest lines between their ends on the ellipsoid.
    """
    outer, *holes = (_ring_area_m2(ring) for ring in polygon)
    return outer - sum(holes, Decimal(0))


def _ring_area_m2(ring: Ring) -> Decimal:
    # The library knows binary floats alone: 15 digits, of which a coordinate needs 10.
    longitudes = [float(position[0]) for position in ring]
    latitudes = [float(position[1]) for position in ring]
    area, _ = _WGS84.polygon_area_perimeter(longitudes, latitudes)
    return abs(Decimal(area)).quantize(Decimal("0.01"))
