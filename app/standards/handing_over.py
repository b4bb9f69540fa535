"""Writing plots as they are handed over.

The file is always a `FeatureCollection`; coordinates have exactly six decimals, rounded; outer
rings run counterclockwise (RFC 7946, 3.1.6); altitudes are left out, and so are all properties but
the four that are read at the other end: what a supplier noted beside them stays here.
"""

from collections.abc import Sequence
from typing import Final

import simplejson

from app.standards import geojson, outlines
from app.standards.geojson import Feature, Part, Polygon
from app.standards.outlines import Corner

PRODUCER: Final = "ProducerName"
COUNTRY: Final = "ProducerCountry"
PLACE: Final = "ProductionPlace"
AREA: Final = "Area"
NAMES: Final = (PRODUCER, COUNTRY, PLACE, AREA)
"""The properties that are read, spelled as they are read."""


def hand_over(content: bytes, country: str) -> bytes:
    """Write a sound file for handing over; `country` stands where a plot names none."""
    return write(geojson.read(content).features, country)


def write(features: Sequence[Feature], country: str) -> bytes:
    """Write sound features, each as text at once: a file may have a million positions."""
    written = ",".join(_feature(feature, country) for feature in features)
    return f'{{"type":"FeatureCollection","features":[{written}]}}'.encode()


def _feature(feature: Feature, country: str) -> str:
    named = {name: feature.properties.get(name) for name in NAMES}
    if named[COUNTRY] is None:
        named[COUNTRY] = country
    properties = simplejson.dumps(
        {name: value for name, value in named.items() if value is not None},
        use_decimal=True,
        ensure_ascii=False,
        separators=(",", ":"),
    )
    geometries = [_geometry(part) for part in feature.parts()]
    geometry = geometries[0]
    if feature.is_collection:
        geometry = f'{{"type":"{geojson.COLLECTION}","geometries":[{",".join(geometries)}]}}'
    return f'{{"type":"Feature","properties":{properties},"geometry":{geometry}}}'


def _geometry(part: Part) -> str:
    written = [_corner(outlines.corner(position)) for _, position in part.points()]
    written += [_polygon(polygon) for _, polygon in part.polygons()]
    coordinates = f"[{','.join(written)}]" if part.type.startswith("Multi") else written[0]
    return f'{{"type":"{part.type}","coordinates":{coordinates}}}'


def _polygon(polygon: Polygon) -> str:
    rings = []
    for ring in polygon:
        outline = outlines.corners(ring)
        forward = outline if outlines.counterclockwise(outline) else outline[::-1]
        rings.append(f"[{','.join(map(_corner, forward))}]")
    return f"[{','.join(rings)}]"


def _corner(corner: Corner) -> str:
    longitude, latitude = corner
    return f"[{outlines.degrees(longitude)},{outlines.degrees(latitude)}]"
