"""Pictures of flows as SVG that can be read aloud, the same bytes for the same flow.

Elements are made one by one and written by the standard library, so no name can slip markup in.
Colours are attributes: a page with a strict policy may show the picture inline.
"""

from collections.abc import Mapping
from typing import Final
from xml.etree import ElementTree as ET

from app.labels.fonts import FontRuler, readable
from app.labels.pieces import MM, Lettering
from app.shared.speech import PLAIN, Speech
from app.tracing.flow.layout import Band, Picture, lay_out
from app.tracing.flow.rules import Box, Flow
from app.tracing.flow.wording import describe
from app.tracing.queries import CAUTION

WIDTH: Final = 297 * MM
SHADES: Final = {True: ("#e39b3b", "#8a4b00"), False: ("#cfdae6", "#3d5a78")}
"""Of what is suspect and of the rest: a band, and a bar. Black text can be read on each band."""
INK: Final = "#1c1c1c"
_EDGED: Final = MM // 2
"""From this thickness on a band has an edge, which would hide a thinner one."""
_LETTERS: Final = {
    "font-family": "'Noto Sans', 'DejaVu Sans', Arial, sans-serif", "fill": INK,
    "stroke": "#ffffff", "stroke-width": "0.5", "stroke-opacity": "0.7",
    "stroke-linejoin": "round", "paint-order": "stroke",
}  # fmt: skip
"""With a light rim, so that words can be read over thin bands."""


def draw(flow: Flow, title: str, width: int = WIDTH, speech: Speech = PLAIN) -> bytes:
    """Draw a flow."""
    root = _drawn(flow, title, width, {}, speech)
    drawn: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return drawn


def draw_in_page(
    flow: Flow, title: str, addresses: Mapping[Box, str], speech: Speech = PLAIN
) -> str:
    """Draw a flow to stand in a page, with boxes that lead to an address each."""
    return ET.tostring(_drawn(flow, title, WIDTH, addresses, speech), encoding="unicode")


def _drawn(
    flow: Flow, title: str, width: int, addresses: Mapping[Box, str], speech: Speech
) -> ET.Element:
    caution = speech.gettext(CAUTION)
    picture = lay_out(flow, readable(title), width, FontRuler(), [caution], speech=speech)
    said = f"{describe(flow, speech)} {caution}"
    return written(picture, title, said, addresses, speech.language)


def written(
    picture: Picture, title: str, description: str, addresses: Mapping[Box, str],
    language: str = "en",
) -> ET.Element:  # fmt: skip
    """Write a picture; one with links is a group of them, not one image."""
    size = {"width": f"{_mm(picture.width)}mm", "height": f"{_mm(picture.height)}mm"}
    root = ET.Element("svg", {
        "xmlns": "http://www.w3.org/2000/svg", "role": "group" if addresses else "img",
        "xml:lang": language,
        "aria-labelledby": "flow-title flow-description", **size,
        "viewBox": f"0 0 {_mm(picture.width)} {_mm(picture.height)}",
    })  # fmt: skip
    ET.SubElement(root, "title", {"id": "flow-title"}).text = readable(title)
    ET.SubElement(root, "desc", {"id": "flow-description"}).text = readable(description)
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    for band in sorted(picture.bands, key=lambda band: -band.thick):
        edge = {"stroke": "#ffffff", "stroke-width": "0.15"} if band.thick > _EDGED else {}
        fill = {"d": _outline(band), "fill": SHADES[band.suspect][0], "fill-opacity": "0.85"}
        shape = ET.SubElement(root, "path", fill | edge)
        ET.SubElement(shape, "title").text = readable(band.says)
    for bar in picture.bars:
        shape = ET.SubElement(root, "rect", {
            "x": _mm(bar.x), "y": _mm(bar.y), "width": _mm(bar.width), "height": _mm(bar.thick),
            "fill": SHADES[bar.suspect][1],
        })  # fmt: skip
        ET.SubElement(shape, "title").text = readable(bar.says)
    texts = ET.SubElement(root, "g", _LETTERS)
    for words in picture.words:
        weight = {"font-weight": "bold"} if words.lettering is Lettering.BOLD else {}
        at = {"x": _mm(words.x), "y": _mm(words.y), "font-size": _mm(words.em)}
        ET.SubElement(texts, "text", at | weight).text = words.text
    _link(root, picture, addresses)
    ET.indent(root, " ")
    return root


def _link(root: ET.Element, picture: Picture, addresses: Mapping[Box, str]) -> None:
    """Lay a link over every box that leads somewhere."""
    for spot in picture.spots:
        if spot.box in addresses:
            link = ET.SubElement(root, "a", {
                "href": addresses[spot.box], "aria-label": readable(spot.says),
            })  # fmt: skip
            ET.SubElement(link, "rect", {
                "x": _mm(spot.x), "y": _mm(spot.y), "width": _mm(spot.width),
                "height": _mm(spot.height), "fill-opacity": "0",
            })  # fmt: skip


def _mm(length: int) -> str:
    whole, rest = divmod(length, MM)
    return f"{whole}.{rest:03}".rstrip("0").rstrip(".")


def _outline(band: Band) -> str:
    """Go along the upper edge, down, and back along the lower one."""
    right, left = band.x + band.bend, band.to_x - band.bend
    under, to_under = band.y + band.thick, band.to_y + band.thick
    there = (band.x, band.y), (right, band.y), (left, band.to_y), (band.to_x, band.to_y)
    back = (band.to_x, to_under), (left, to_under), (right, under), (band.x, under)
    points = [" ".join(f"{_mm(x)},{_mm(y)}" for x, y in edge[1:]) for edge in (there, back)]
    first = [f"{_mm(edge[0][0])},{_mm(edge[0][1])}" for edge in (there, back)]
    return f"M{first[0]} C{points[0]} L{first[1]} C{points[1]} Z"
