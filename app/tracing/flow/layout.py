"""Where everything stands in a picture of flows. Lengths are whole micrometres.

Bars and bands are as thick as the coffee is heavy, on one scale for the whole picture. What is
suspect stands above the rest of its bar. Nothing is left out for being small: the thinnest is a
hair. Every box has room for its words, so that none stand over others.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from app.labels.fonts import readable
from app.labels.pieces import MM, Lettering, Ruler, half_points
from app.papers.sheets import Words, wrapped
from app.shared.speech import PLAIN, Speech
from app.tracing.flow.rules import Box, Flow, Link, Node, Side
from app.tracing.flow.wording import label

TEXT: Final = half_points(15)
_TITLE: Final = half_points(24)
_LEADING: Final = TEXT * 6 // 5
_MARGIN: Final = 8 * MM
_BAR: Final = 3 * MM
_GAP: Final = 2 * MM
_HAIR: Final = MM // 6
_MOST_LINES: Final = 2
_SWEEPS: Final = 4


class Band(NamedTuple):
    """What flows from the right of one bar to the left of another."""

    x: int
    y: int
    to_x: int
    to_y: int
    thick: int
    suspect: bool
    says: str

    @property
    def bend(self) -> int:
        """How far its ends run straight on before it bends."""
        return max((self.to_x - self.x) // 2, 12 * MM)


class Bar(NamedTuple):
    """A box."""

    x: int
    y: int
    width: int
    thick: int
    suspect: bool
    says: str


class Spot(NamedTuple):
    """The room that a box has, with its words: where it can be pressed."""

    x: int
    y: int
    width: int
    height: int
    box: Box
    says: str


@dataclass
class Picture:
    """A picture that is ready to be drawn."""

    width: int
    height: int
    bands: list[Band] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    spots: list[Spot] = field(default_factory=list)
    suspects: bool = True


class _Placed(NamedTuple):
    """A box in its place."""

    x: int
    y: int
    width: int
    lines: Sequence[str]


Thick = Callable[[int], int]
"""How thick so many grams are."""


def lay_out(
    flow: Flow, title: str, width: int, ruler: Ruler, foot: Sequence[str] = (),
    *, speech: Speech = PLAIN,
) -> Picture:  # fmt: skip
    """Lay a picture of this width out; it is as high as it has to be."""
    columns = _columns(flow)
    across = (width - 2 * _MARGIN) // max(len(columns), 1)
    room = across - _BAR - _GAP
    lines = {node.box: _lines(node, flow, room, ruler, speech) for node in flow.nodes}
    top = _MARGIN + 2 * _TITLE
    high, thick = _scale(columns, lines, width * 9 // 20)
    placed: dict[Box, _Placed] = {}
    for number, column in enumerate(columns):
        y = top + (high - _height(column, lines, thick)) // 2
        for node in column:
            placed[node.box] = _Placed(_MARGIN + number * across, y, across - _GAP, lines[node.box])
            y += _slot(node, lines[node.box], thick)
    picture = Picture(width, top + high + _GAP, suspects=flow.suspects)
    picture.words.append(Words(_MARGIN, _MARGIN + _TITLE, title, _TITLE, Lettering.BOLD))
    for node in flow.nodes:
        _stand(picture, node, placed[node.box], thick)
    _flow(picture, flow, placed, thick, speech)
    _explain(picture, foot, ruler, speech)
    return picture


def _lines(node: Node, flow: Flow, width: int, ruler: Ruler, speech: Speech) -> list[str]:
    """Write what a box is, and its kilograms; a long name is cut."""
    lettering = Lettering.BOLD if node.start else Lettering.TEXT
    name = wrapped(readable(label(node, speech)), width, TEXT, lettering, ruler)
    if len(name) > _MOST_LINES:
        name = [*name[: _MOST_LINES - 1], _cut(name[_MOST_LINES - 1], width, lettering, ruler)]
    lines = [*name, speech.mass(node.grams)]
    if flow.suspects and 0 < node.suspect_g < node.grams:
        lines.append(speech.gettext("suspect %(mass)s") % {"mass": speech.mass(node.suspect_g)})
    return lines


def _cut(text: str, width: int, lettering: Lettering, ruler: Ruler) -> str:
    while text and ruler.width(f"{text}…", lettering, TEXT) > width:
        text = text[:-1]
    return f"{text}…"


def _columns(flow: Flow) -> list[list[Node]]:
    """Put the boxes of each column into an order in which few bands cross: ends at the foot."""
    count = max((node.column for node in flow.nodes), default=-1) + 1
    columns: list[list[Node]] = [[] for _ in range(count)]
    for node in flow.nodes:
        columns[node.column].append(node)
    beside: dict[Box, list[tuple[Box, int]]] = defaultdict(list)
    for link in flow.links:
        beside[link.source].append((link.target, link.grams))
        beside[link.target].append((link.source, link.grams))
    place = {
        node.box: 1000 * i // len(column) for column in columns for i, node in enumerate(column)
    }
    for sweep in range(_SWEEPS):
        for column in columns if sweep % 2 == 0 else columns[::-1]:
            means = {node.box: _mean_place(beside[node.box], place) for node in column}
            column.sort(key=lambda node: (node.box.side is Side.END, means[node.box], node.box))
            place |= {node.box: 1000 * i // len(column) for i, node in enumerate(column)}
    return columns


def _mean_place(beside: Sequence[tuple[Box, int]], place: Mapping[Box, int]) -> int:
    whole = sum(grams for _, grams in beside)
    return sum(place[box] * grams for box, grams in beside) // whole if whole else 0


def _slot(node: Node, lines: Sequence[str], thick: Thick) -> int:
    return max(thick(node.grams), len(lines) * _LEADING) + _GAP


def _height(column: Sequence[Node], lines: Mapping[Box, Sequence[str]], thick: Thick) -> int:
    return sum(_slot(node, lines[node.box], thick) for node in column)


def _scale(
    columns: Sequence[Sequence[Node]], lines: Mapping[Box, Sequence[str]], wanted: int
) -> tuple[int, Thick]:
    """Find the largest scale on which every column fits the height, and more height if need be."""
    heaviest = max((node.grams for column in columns for node in column), default=1)
    words = max((_height(column, lines, lambda _: 0) for column in columns), default=0)
    high = max(wanted, words + _GAP)

    def on(scale: int) -> Thick:
        return lambda grams: max(grams * scale // heaviest, _HAIR) if grams else 0

    low, top = 1, high
    while low < top:
        middle = (low + top + 1) // 2
        if all(_height(column, lines, on(middle)) <= high for column in columns):
            low = middle
        else:
            top = middle - 1
    return high, on(low)


def _stand(picture: Picture, node: Node, at: _Placed, thick: Thick) -> None:
    """Draw a bar, what is suspect above the rest, and its words beside it."""
    says = " ".join(at.lines)
    whole = thick(node.grams)
    suspect = min(thick(node.suspect_g), whole) if picture.suspects else 0
    if suspect:
        picture.bars.append(Bar(at.x, at.y, _BAR, suspect, True, says))
    if whole > suspect:
        picture.bars.append(Bar(at.x, at.y + suspect, _BAR, whole - suspect, False, says))
    high = max(whole, len(at.lines) * _LEADING)
    picture.spots.append(Spot(at.x, at.y, at.width, high, node.box, says))
    y = at.y + max((whole - len(at.lines) * _LEADING) // 2, 0)
    for line in at.lines:
        lettering = Lettering.BOLD if node.start else Lettering.TEXT
        picture.words.append(Words(at.x + _BAR + _GAP // 2, y + TEXT, line, TEXT, lettering))
        y += _LEADING


def _flow(
    picture: Picture, flow: Flow, placed: Mapping[Box, _Placed], thick: Thick, speech: Speech
) -> None:
    """Draw the bands, in each bar in the order of where they come from and go to."""
    names = {node.box: label(node, speech) for node in flow.nodes}
    leaves = {box: at.y for box, at in placed.items()}
    comes = dict(leaves)
    for suspect in (True, False) if picture.suspects else (False,):
        grams = {
            (link.source, link.target): _part(link, flow, suspect=suspect) for link in flow.links
        }
        starts: dict[tuple[Box, Box], int] = {}
        for ends in sorted(grams, key=lambda ends: (placed[ends[1]].y, ends)):
            starts[ends] = leaves[ends[0]]
            leaves[ends[0]] += thick(grams[ends])
        for ends in sorted(grams, key=lambda ends: (placed[ends[0]].y, ends)):
            source, target = ends
            if grams[ends]:
                says = _says(names[source], names[target], grams[ends], suspect, speech)
                picture.bands.append(Band(
                    placed[source].x + _BAR, starts[ends], placed[target].x, comes[target],
                    thick(grams[ends]), suspect, says,
                ))  # fmt: skip
            comes[target] += thick(grams[ends])


def _says(source: str, target: str, grams: int, suspect: bool, speech: Speech) -> str:
    told = {"source": source, "target": target, "mass": speech.mass(grams)}
    if suspect:
        return speech.gettext("%(source)s to %(target)s: %(mass)s suspect") % told
    return speech.gettext("%(source)s to %(target)s: %(mass)s") % told


def _part(link: Link, flow: Flow, *, suspect: bool) -> int:
    if suspect:
        return link.suspect_g
    return link.grams - link.suspect_g if flow.suspects else link.grams


def _explain(picture: Picture, foot: Sequence[str], ruler: Ruler, speech: Speech) -> None:
    """Say at the foot what the shades mean, and what else has to be said."""
    y = picture.height
    width = picture.width - 2 * _MARGIN
    if picture.suspects:
        x = _MARGIN
        shades = speech.gettext("suspect, pro rata"), speech.gettext("other coffee")
        for suspect, said in zip((True, False), shades, strict=True):
            picture.bars.append(Bar(x, y, _BAR, _BAR, suspect, said))
            picture.words.append(Words(x + _BAR + _GAP // 2, y + TEXT, said, TEXT))
            x += _BAR + 3 * _GAP + ruler.width(said, Lettering.TEXT, TEXT)
        y += _LEADING + _GAP // 2
    for said in foot:
        for line in wrapped(said, width, TEXT, Lettering.TEXT, ruler):
            picture.words.append(Words(_MARGIN, y + TEXT, line, TEXT))
            y += _LEADING
    picture.height = y + _MARGIN // 2
