"""GeoJSON by RFC 7946: reading a file, and naming every place where it is none.

What the RFC demands is a flaw here. So are two things that it advises against: a position of more
than three numbers, for nobody could say what the fourth means (3.1.1), and a collection inside of
a collection (3.1.8). What it leaves open is left open: which way round a ring runs (3.1.6),
members of other makers (6.1), a collection of a single part (3.1.8).
"""

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final, NamedTuple, TypeGuard, cast

from app.standards.json_text import Json, NotJsonError, parse

Path = tuple[str | int, ...]
Position = Sequence[Decimal]
Ring = Sequence[Position]
Polygon = Sequence[Ring]
"""Its outer ring, then its holes."""

COLLECTION: Final = "GeometryCollection"

_LEVELS: Final[Mapping[str, Sequence[str]]] = {
    "Point": ["position"],
    "MultiPoint": ["list of positions", "position"],
    "LineString": ["line", "position"],
    "MultiLineString": ["list of lines", "line", "position"],
    "Polygon": ["list of rings", "ring", "position"],
    "MultiPolygon": ["list of polygons", "list of rings", "ring", "position"],
}
"""What `coordinates` hold, from the outside in."""

_NEVER: Final[Mapping[str, Sequence[str]]] = {
    "FeatureCollection": ["coordinates", "geometries", "geometry", "properties"],
    "Feature": ["coordinates", "geometries", "features"],
    "geometry": ["geometry", "properties", "features"],
}
"""Members that would give a type another meaning (section 7.1)."""

_WGS84: Final = re.compile(
    r"(urn:ogc:def:crs:)?(OGC:(1\.3|):?CRS84|EPSG::?4326)", re.IGNORECASE | re.ASCII
)
"""Names that older programs write for the one reference system the RFC has."""

_SHOWN: Final = 40


class Flaw(NamedTuple):
    """One thing that is not right, and where."""

    path: Path
    detail: str

    @property
    def pointer(self) -> str:
        """Where it stands, as a JSON Pointer (RFC 6901) in a URI fragment: `#/features/0`."""
        steps = (str(step).replace("~", "~0").replace("/", "~1") for step in self.path)
        return "".join(["#", *(f"/{step}" for step in steps)])

    @property
    def feature(self) -> int | None:
        """The number of the feature, counted from 1; None for the file as a whole."""
        match self.path:
            case ("features", int(number), *_):
                return number + 1
        return None


class Part(NamedTuple):
    """A geometry of sound structure that is no collection of others."""

    path: Path
    """Where its coordinates stand."""
    type: str
    coordinates: Json

    def points(self) -> Iterator[tuple[Path, Position]]:
        """Name the positions of a point or of several, each with its place."""
        if self.type == "Point":
            yield self.path, cast("Position", self.coordinates)
        elif self.type == "MultiPoint":
            for number, position in enumerate(cast("Sequence[Position]", self.coordinates)):
                yield (*self.path, number), position

    def polygons(self) -> Iterator[tuple[Path, Polygon]]:
        """Name the rings of a polygon or of several, each polygon with its place."""
        if self.type == "Polygon":
            yield self.path, cast("Polygon", self.coordinates)
        elif self.type == "MultiPolygon":
            for number, rings in enumerate(cast("Sequence[Polygon]", self.coordinates)):
                yield (*self.path, number), rings


class Feature(NamedTuple):
    """A feature of sound structure; a bare geometry is one without properties."""

    path: Path
    properties: Mapping[str, Json]
    geometry: Mapping[str, Json] | None
    geometry_path: Path

    @property
    def number(self) -> int:
        """Its number, counted from 1."""
        return Flaw(self.path, "").feature or 1

    @property
    def is_collection(self) -> bool:
        """Tell whether its geometry is a collection of others."""
        return self.geometry is not None and self.geometry["type"] == COLLECTION

    def parts(self) -> Iterator[Part]:
        """Name its geometries, those inside of a collection too."""
        if self.geometry is None:
            return
        if not self.is_collection:
            yield _part(self.geometry, self.geometry_path)
            return
        members = cast("Sequence[Mapping[str, Json]]", self.geometry["geometries"])
        for number, member in enumerate(members):
            yield _part(member, (*self.geometry_path, "geometries", number))


def _part(geometry: Mapping[str, Json], path: Path) -> Part:
    return Part((*path, "coordinates"), str(geometry["type"]), geometry["coordinates"])


MOST_NAMED: Final = 1000


@dataclass
class Flaws:
    """What is wrong with a file; all of it is counted, the first thousand are named."""

    named: list[Flaw] = field(default_factory=list)
    count: int = 0

    def add(self, flaw: Flaw) -> None:
        """Take one more: a file of 25 MB can have ten million, and nobody reads so many."""
        self.count += 1
        if len(self.named) < MOST_NAMED:
            self.named.append(flaw)

    def __bool__(self) -> bool:
        return self.count > 0


@dataclass
class Document:
    """A file taken apart."""

    features: list[Feature] = field(default_factory=list)
    """Those of sound structure."""
    flaws: Flaws = field(default_factory=Flaws)

    def refuse(self, flaws: Iterable[Flaw]) -> bool:
        """Take flaws and tell whether there was any."""
        before = self.flaws.count
        for flaw in flaws:
            self.flaws.add(flaw)
        return self.flaws.count > before


def read(content: bytes) -> Document:
    """Read a file: its sound features, and every flaw of the others."""
    document = Document()
    try:
        _take(parse(content), document)
    except NotJsonError as error:
        document.refuse([Flaw((), str(error))])
    return document


def _take(root: Json, document: Document) -> None:
    if not isinstance(root, dict):
        document.refuse([Flaw((), f"an object is wanted, not {_said(root)}")])
        return
    kind = root.get("type")
    if kind == "FeatureCollection":
        document.refuse(_common(root, "FeatureCollection", ()))
        features = root.get("features")
        if not isinstance(features, list):
            found = _said(features) if "features" in root else "nothing"
            said = f"a list of features is wanted, not {found}"
            document.refuse([Flaw(("features",), said)])
            return
        for number, feature in enumerate(features):
            _take_feature(feature, ("features", number), document)
    elif kind == "Feature":
        _take_feature(root, (), document)
    elif not document.refuse(_geometry_flaws(root, ())):
        document.features.append(Feature((), {}, root, ()))


def _take_feature(feature: Json, path: Path, document: Document) -> None:
    if not document.refuse(_feature_flaws(feature, path)) and isinstance(feature, dict):
        properties, geometry = feature["properties"], feature["geometry"]
        document.features.append(Feature(
            path,
            properties if isinstance(properties, dict) else {},
            geometry if isinstance(geometry, dict) else None,
            (*path, "geometry"),
        ))  # fmt: skip


def _feature_flaws(feature: Json, path: Path) -> Iterator[Flaw]:
    if not isinstance(feature, dict):
        yield Flaw(path, f"a feature is an object, not {_said(feature)}")
        return
    if feature.get("type") != "Feature":
        yield Flaw((*path, "type"), f"Feature is wanted, not {_said(feature.get('type'))}")
    yield from _common(feature, "Feature", path)
    if isinstance(feature.get("id", ""), list | dict | bool | None):
        yield Flaw((*path, "id"), "the id of a feature is a text or a number")
    if not isinstance(feature.get("properties", ""), dict | None):
        yield Flaw((*path, "properties"), "properties must be there: an object or null")
    geometry = feature.get("geometry", "")
    if geometry is None:
        return
    if not isinstance(geometry, dict):
        yield Flaw((*path, "geometry"), "a geometry must be there: an object or null")
        return
    yield from _geometry_flaws(geometry, (*path, "geometry"))


def _common(node: Mapping[str, Json], kind: str, path: Path) -> Iterator[Flaw]:
    """Name flaws of members that any object may have."""
    for name in _NEVER[kind]:
        if name in node:
            yield Flaw((*path, name), f"a {kind} must not have a member {name}")
    if "bbox" in node:
        yield from _bbox_flaws(node["bbox"], (*path, "bbox"))
    system = node.get("crs")
    if system is not None and not _WGS84.fullmatch(_named_system(system)):
        yield Flaw(
            (*path, "crs"), "coordinates are degrees on WGS84; another reference system is not read"
        )


def _named_system(system: Json) -> str:
    properties = system.get("properties") if isinstance(system, dict) else None
    return str(properties.get("name")) if isinstance(properties, dict) else ""


def _bbox_flaws(bbox: Json, path: Path) -> Iterator[Flaw]:
    if not isinstance(bbox, list) or len(bbox) not in {4, 6}:
        yield Flaw(path, "a bbox is a list of 4 numbers, or of 6 with altitudes")
    elif not _are_numbers(bbox):
        yield Flaw(path, "a bbox holds numbers alone")
    elif bbox[1] > bbox[len(bbox) // 2 + 1]:
        yield Flaw(path, "a bbox names its south-west corner first, then the north-east one")


def _geometry_flaws(geometry: Json, path: Path) -> Iterator[Flaw]:
    if not isinstance(geometry, dict):
        yield Flaw(path, f"a geometry is an object, not {_said(geometry)}")
        return
    kind = geometry.get("type")
    if not isinstance(kind, str) or kind not in {COLLECTION, *_LEVELS}:
        found = _said(kind) if "type" in geometry else "nothing"
        yield Flaw((*path, "type"), f"{found} is no type of GeoJSON")
        return
    yield from _common(geometry, "geometry", path)
    if kind == COLLECTION:
        members = geometry.get("geometries")
        if not isinstance(members, list):
            yield Flaw((*path, "geometries"), "a list of geometries is wanted")
            return
        for number, member in enumerate(members):
            here = (*path, "geometries", number)
            if isinstance(member, dict) and member.get("type") == COLLECTION:
                yield Flaw(here, "a collection inside of a collection: list its parts in one")
            else:
                yield from _geometry_flaws(member, here)
        return
    levels = _LEVELS[kind]
    yield from _coordinate_flaws(geometry.get("coordinates"), levels, (*path, "coordinates"))


def _coordinate_flaws(found: Json, levels: Sequence[str], path: Path) -> Iterator[Flaw]:
    wanted, *inner = levels
    if not inner:
        fault = _position_fault(found)
        if fault is not None:
            yield Flaw(path, fault)
        return
    if not isinstance(found, list):
        yield Flaw(path, f"a {wanted} is wanted, not {_said(found)}")
        return
    if found and _are_numbers(found):
        yield Flaw(path, f"a {wanted} is wanted, not a position: nest it one level deeper")
        return
    sound = True
    for number, each in enumerate(found):
        for flaw in _coordinate_flaws(each, inner, (*path, number)):
            sound = False
            yield flaw
    check = _CHECKS.get(wanted)
    if sound and check is not None:
        fault = check(found)
        if fault is not None:
            yield Flaw(path, fault)


def _position_fault(found: Json) -> str | None:
    if not isinstance(found, list):
        return f"a position is a list of numbers, not {_said(found)}"
    if _are_numbers(found):
        if len(found) in {2, 3}:
            return None
        return f"a position is [longitude, latitude] or with an altitude, not {len(found)} numbers"
    if any(isinstance(each, list) for each in found):
        return "a position is a list of numbers: this is nested too deeply"
    return "a position holds numbers alone"


def _line_fault(line: Sequence[Json]) -> str | None:
    if len(line) < 2:  # noqa: PLR2004 - the figure stands in the message
        return f"a line has 2 positions or more, not {len(line)}"
    return None


def _ring_fault(ring: Sequence[Json]) -> str | None:
    if len(ring) < 4:  # noqa: PLR2004 - the figure stands in the message
        return f"a ring has 4 positions or more, the last one equal to the first, not {len(ring)}"
    if ring[0] != ring[-1]:
        return "a ring is closed: its last position equals its first"
    return None


_CHECKS: Final[Mapping[str, Callable[[Sequence[Json]], str | None]]] = {
    "line": _line_fault,
    "ring": _ring_fault,
}


def _are_numbers(found: Sequence[Json]) -> TypeGuard[Sequence[Decimal]]:
    return all(isinstance(each, Decimal) for each in found)


def _said(found: Json) -> str:
    match found:
        case dict():
            return "an object"
        case list():
            return "a list"
        case bool() | None:
            return json.dumps(found)
        case str():
            return f'"{found}"' if len(found) <= _SHOWN else f'"{found[:_SHOWN]}…"'
    return str(found)
