"""The plots behind a lot: the rules for geolocation files of Regulation (EU) 2023/1115.

A file is GeoJSON (`geojson.py`) that the information system of the regulation can read. Where the
official texts leave a choice or disagree, this is the reading taken:

- *Decimals.* The regulation asks for at least six; the file description speaks of rounding in one
  place and of cutting in another. So we round first and hand over exactly six: nothing is left
  that anybody could cut, and the error is half as large.
- *25 MB* is read as 25,000,000 bytes, which is within either meaning of a megabyte.
- *More than four hectares* need an outline: a point of exactly 4 ha is accepted, of 4.01 ha not.
- *A point says its area*, in every file. `Area` stands for each point of a `MultiPoint` and of a
  collection, since each is a plot.
- *Names of properties* are read with their capitals; a name that differs only in them, or in
  blanks, hyphens and underscores, is refused, for the system would pass over it in silence.
- *`ProducerCountry`* is two capital letters of ISO 3166-1, or `XI` for Northern Ireland.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final, NamedTuple, TypeGuard

import pycountry

from app.standards import geojson, outlines
from app.standards.geojson import Feature, Flaw, Flaws, Part, Path, Polygon, Position
from app.standards.handing_over import AREA, COUNTRY, NAMES, PLACE, PRODUCER, write
from app.standards.json_text import Json

LARGEST_BYTES: Final = 25_000_000
LARGEST_POINT_HA: Final = Decimal(4)
SMALLEST_HA: Final = Decimal("0.0001")
MOST_FINE: Final = 100_000
"""So many corners have all outlines of a file together that are drawn finer than most fields are:
whether each crosses itself would keep a process busy for too long."""
_FINE: Final = 500

_FOLDED: Final = {name.lower(): name for name in NAMES}
_MOST_GROWTH: Final = 5
"""Six decimals make of `[1,1],` at most so many times as much."""


class FlawedPlotsError(ValueError):
    """The file is not one of plots; `flaws` names everything that is not right."""

    def __init__(self, flaws: Flaws) -> None:
        first = flaws.named[0]
        super().__init__(f"{flaws.count} flaws, the first at {first.pointer}: {first.detail}")
        self.flaws = flaws


class Plot(NamedTuple):
    """One plot of land."""

    feature: int
    """The number of its feature, counted from 1."""
    outlined: bool
    """True for a polygon, False for a point with its area."""
    area_m2: int


@dataclass
class PlotList:
    """What a file says."""

    plots: list[Plot] = field(default_factory=list)
    countries: set[str] = field(default_factory=set)

    @property
    def area_m2(self) -> int:
        """Add up the areas of its plots."""
        return sum(plot.area_m2 for plot in self.plots)


def hectares(square_metres: int) -> Decimal:
    """Write an area in hectares, with the four decimals that show a square metre."""
    return Decimal(square_metres).scaleb(-4)


def read_plots(content: bytes, largest_bytes: int = LARGEST_BYTES) -> PlotList:
    """Read a file of plots.

    Raises:
        FlawedPlotsError: with every flaw there is, each with its place.
    """
    if len(content) > largest_bytes:
        said = f"the file has {len(content)} bytes; {largest_bytes} are the most"
        raise FlawedPlotsError(Flaws([Flaw((), said)], 1))
    document = geojson.read(content)
    reader = _Reader(document.flaws)
    for feature in document.features:
        reader.read(feature)
    if not reader.flaws and not reader.found.plots:
        reader.refuse((), "there is no plot in it")
    if not reader.flaws and _outgrows(document.features, len(content), largest_bytes):
        said = f"with six decimals it has more than {largest_bytes} bytes: give it as two files"
        reader.refuse((), said)
    if reader.flaws:
        raise FlawedPlotsError(reader.flaws)
    return reader.found


def _outgrows(features: Sequence[Feature], given_bytes: int, largest_bytes: int) -> bool:
    """Tell whether a file would be too large once written with six decimals."""
    if given_bytes < largest_bytes // _MOST_GROWTH:
        return False
    return len(write(features, "XX")) > largest_bytes


class _Reader:
    """Goes through the features, gathering plots and flaws."""

    def __init__(self, flaws: Flaws) -> None:
        self.flaws = flaws
        self.found = PlotList()
        self._fine = 0

    def refuse(self, path: Path, said: str) -> None:
        self.flaws.add(Flaw(path, said))

    def read(self, feature: Feature) -> None:
        here = (*feature.path, "properties")
        self._read_names(feature.properties, here)
        parts = list(feature.parts())
        if not parts:
            self.refuse(feature.geometry_path, "a plot has a geometry with something in it")
        pointed = any("Point" in part.type for part in parts)
        area_m2 = self._area(feature.properties.get(AREA), (*here, AREA), pointed=pointed)
        for part in parts:
            self._read_part(feature.number, part, area_m2)

    def _read_names(self, properties: Mapping[str, Json], path: Path) -> None:
        for name in properties:
            meant = _FOLDED.get(re.sub(r"[\s_-]", "", name).lower())
            if meant is not None and name != meant and meant not in properties:
                said = f"{name} is not read: the name is {meant}, with its capitals"
                self.refuse((*path, name), said)
        for name in (PRODUCER, PLACE):
            if not isinstance(properties.get(name), str | None):
                self.refuse((*path, name), f"{name} is a text")
        country = properties.get(COUNTRY)
        if _is_country(country):
            self.found.countries.add(country)
        elif country is not None:
            said = f"{COUNTRY} is two capital letters of ISO 3166-1, such as ET"
            self.refuse((*path, COUNTRY), said)

    def _area(self, area: Json, path: Path, *, pointed: bool) -> int:
        """Read what a feature says of its area; 0 where it says nothing that can be used."""
        if area is None and not pointed:
            return 0
        if area is None:
            self.refuse(path, "a point says its area: hectares as a number, 0.0001 to 4")
        elif not isinstance(area, Decimal):
            self.refuse(path, "Area is a JSON number of hectares; a text would be read as 0")
        elif area < SMALLEST_HA:
            self.refuse(path, f"{area} ha is less than a square metre: Area is in hectares")
        elif pointed and area > LARGEST_POINT_HA:
            said = f"{area} ha as a point: over 4 ha the outline of the plot is needed"
            self.refuse(path, said)
        else:
            return int(area.scaleb(4).to_integral_value()) if pointed else 0
        return 0

    def _read_part(self, number: int, part: Part, area_m2: int) -> None:
        if "Line" in part.type:
            said = f"a plot is a point or an outline, not a {part.type}"
            self.refuse(part.path[:-1], said)
            return
        if not part.coordinates:
            self.refuse(part.path, f"there is nothing in this {part.type}")
            return
        for path, position in part.points():
            self._in_range(position, path)
            self.found.plots.append(Plot(number, outlined=False, area_m2=area_m2))
        for path, polygon in part.polygons():
            self._read_polygon(number, polygon, path)

    def _read_polygon(self, number: int, polygon: Polygon, path: Path) -> None:
        for hole in range(1, len(polygon)):
            said = "a plot has no holes: give it as two shapes that meet at a cut"
            self.refuse((*path, hole), said)
        if not polygon:
            self.refuse(path, "there is no ring in it")
            return
        outer, here = polygon[0], (*path, 0)
        before = self.flaws.count
        for place, position in enumerate(outer):
            self._in_range(position, (*here, place))
        if self.flaws.count > before:
            return
        rounded = outlines.corners(outer)
        fault = self._too_much(len(rounded) - 1) or outlines.fault(rounded)
        if fault is not None:
            self.refuse(here, fault)
            return
        square_metres = int(outlines.area_m2([outer]).to_integral_value())
        if square_metres == 0:
            self.refuse(here, "the plot is smaller than a square metre")
        self.found.plots.append(Plot(number, outlined=True, area_m2=square_metres))

    def _too_much(self, corners: int) -> str | None:
        """Say where the finely drawn outlines of a file have too many corners together."""
        if not _FINE < corners <= outlines.MOST_CORNERS:
            return None
        self._fine += corners
        if self._fine <= MOST_FINE:
            return None
        return (
            f"with it the outlines of more than {_FINE} corners have {self._fine} together; "
            f"{MOST_FINE} are the most of a file: give it as two files"
        )

    def _in_range(self, position: Position, path: Path) -> None:
        longitude, latitude = position[0], position[1]
        if not -180 <= longitude <= 180:  # noqa: PLR2004 - the figures stand in the message
            self.refuse((*path, 0), f"longitude {longitude} is not between -180 and 180")
        if not -90 <= latitude <= 90:  # noqa: PLR2004 - the figures stand in the message
            said = f"latitude {latitude} is not between -90 and 90: longitude stands first"
            self.refuse((*path, 1), said)


def _is_country(code: Json) -> TypeGuard[str]:
    if not isinstance(code, str) or not re.fullmatch(r"[A-Z]{2}", code):
        return False
    return code == "XI" or pycountry.countries.get(alpha_2=code) is not None
