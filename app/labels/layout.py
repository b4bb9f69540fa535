"""Where everything stands on a label, what is cut and what is left out.

The code, the marks and the caution are never cut; facts are set as large as fits, each in a line or
two, then cut with an ellipsis, and where there is still no room the last ones are left out.
"""

import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from app.labels.pieces import (
    LARGE_PRINT,
    MM,
    Box,
    Face,
    Item,
    Layout,
    Lettering,
    Line,
    Ruler,
    Square,
    half_points,
)
from app.labels.symbols import QUIET


@dataclass
class _Sheet:
    """A label being laid out: what is placed so far and what is still free."""

    ruler: Ruler
    free: Box
    tall: bool
    lines: list[Line] = field(default_factory=list)


_TALL = 60 * MM
"""From this height on, marks and caution get a row of their own over the whole width."""
_GAP = MM // 2
_HALF_POINTS = {True: (32, 20, 14), False: (22, 14, 11)}
"""Sizes of facts on a tall label and on another, in half points: the largest, the smallest that is
read with ease, and the smallest."""
_DETOUR = 3
"""By how many characters a line may be longer for the sake of a better place to break."""


def lay_out(
    face: Face, modules: int, width: int, height: int, ruler: Ruler, *, checked: bool
) -> Layout:
    """Lay a label out. `checked`: the code's last character is a check character."""
    tall = height >= _TALL
    margin = min(max(height // 24, MM), width // 40)
    inside = Box(margin, margin, width - 2 * margin, height - 2 * margin)
    sheet = _Sheet(ruler, inside, tall)
    _code(sheet, face.code, checked=checked)
    if tall:
        _marks(sheet, face.marks)
        _caution(sheet, face.caution)
    symbol = _symbol(sheet, modules, width)
    if not tall:
        _marks(sheet, face.marks)
        _caution(sheet, face.caution)
    cut, left_out = _facts(sheet, face.items)
    return Layout(width, height, symbol, tuple(sheet.lines), cut, left_out)


def _code(sheet: _Sheet, code: str, *, checked: bool) -> None:
    """Set the code over the whole width, as large as fits; in two lines if one is too small."""
    tallest = sheet.free.height * (27 if sheet.tall else 32) // 100
    lines = [code]
    em = _largest(sheet, lines, tallest)
    if em < LARGE_PRINT:
        em, lines = max((em, lines), (_largest(sheet, _in_two(code), tallest), _in_two(code)))
    for i, text in enumerate(lines):
        last = i == len(lines) - 1
        box = sheet.free._replace(height=em)
        sheet.lines.append(
            Line(text, box, em, box.y + em * 80 // 100, Lettering.CODE,
                 set_apart=1 if checked and last else 0)
        )  # fmt: skip
        sheet.free = sheet.free.below(em)
    sheet.free = sheet.free.below(_GAP)


def _largest(sheet: _Sheet, lines: Sequence[str], tallest: int) -> int:
    em = tallest // len(lines)
    widest = max(sheet.ruler.width(line, Lettering.CODE, em) for line in lines)
    return em if widest <= sheet.free.width else em * sheet.free.width // widest


def _in_two(code: str) -> list[str]:
    """Split a code near its middle, after a hyphen, full stop or underscore if there is one."""

    def cost(place: int) -> int:
        longer = max(place, len(code) - place)
        return longer if code[place - 1] in "-._" else longer + _DETOUR

    place = min(range(1, len(code)), key=cost, default=1)
    return [part for part in (code[:place], code[place:]) if part]


def _marks(sheet: _Sheet, marks: Sequence[str]) -> None:
    """Set the marks in a black bar."""
    if not marks:
        return
    text = " / ".join(marks)
    height = sheet.free.height // 5
    em = height * 95 // 100
    room = sheet.free.width - 2 * MM
    width = sheet.ruler.width(text, Lettering.CODE, em)
    em = em if width <= room else em * room // width
    box = sheet.free._replace(height=height)
    baseline = box.y + (height + em * 70 // 100) // 2
    sheet.lines.append(Line(text, box, em, baseline, Lettering.CODE, inverse=True))
    sheet.free = sheet.free.below(height + _GAP)


def _caution(sheet: _Sheet, caution: str | None) -> None:
    """Set the caution at the bottom, whole, in bold: one line, or two where there is no width."""
    if caution is None:
        return
    room = sheet.free.height // (8 if sheet.tall else 3)
    for size in range(28, 9, -1):
        em = half_points(size)
        lines, _ = _wrapped(sheet, caution, Lettering.BOLD, em, most=9)
        height = len(lines) * _line_height(em)
        if height <= room:
            break
    bottom = sheet.free._replace(y=sheet.free.bottom - height, height=height)
    sheet.lines.extend(_stacked(lines, bottom, em, Lettering.BOLD))
    sheet.free = sheet.free.above(height + _GAP)


def _symbol(sheet: _Sheet, modules: int, width: int) -> Square:
    """Put the QR code at the left, its modules as large as fits."""
    side = min(sheet.free.height, width * 42 // 100)
    module = side // (modules + 2 * QUIET) // 10 * 10
    side = module * (modules + 2 * QUIET)
    box = Box(sheet.free.x, sheet.free.y, side, side)
    sheet.free = Box(box.right, sheet.free.y, sheet.free.right - box.right, sheet.free.height)
    return Square(box, module)


def _facts(sheet: _Sheet, items: Sequence[Item]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Set the facts in what is left; names those that were cut and those that were left out.

    They are as large as lets each stand whole, in a line of its own if possible. Below a size that
    is read with ease a long fact is cut instead, and below the smallest size the last are left out.
    """
    placed = next(_whole(sheet, items), None) or next(_cut_short(sheet, items), _Column(0))
    sheet.lines.extend(placed.lines)
    return tuple(placed.cut), tuple(item.text for item in items[placed.count :])


class _Setting(NamedTuple):
    """How facts are set: the lines a bold one may take, and another, and the size."""

    bold_lines: int
    lines: int
    half_points: int


def _whole(sheet: _Sheet, items: Sequence[Item]) -> Iterator["_Column"]:
    """Set all facts whole, the largest first, sharing lines where that lets them be larger."""
    apart = [replace(item, parts=(part,)) for item in items for part in item.parts]
    largest, easy, _ = _HALF_POINTS[sheet.tall]
    for lines in (1, 2):
        for size in range(largest, easy - 1, -1):
            for each in (apart, items):
                column = _column(sheet, each, _Setting(2, lines, size))
                if column is not None and not column.cut:
                    column.count = len(items)
                    yield column


def _cut_short(sheet: _Sheet, items: Sequence[Item]) -> Iterator["_Column"]:
    """Set facts in small print, cut where they are long, then without the last of them."""
    _, easy, smallest = _HALF_POINTS[sheet.tall]
    tries = [
        (items, _Setting(lines, lines, size))
        for lines in (2, 1)
        for size in range(easy, smallest - 1, -1)
    ]
    tries += [(items[:count], _Setting(1, 1, smallest)) for count in range(len(items), 0, -1)]
    yield from (column for each in tries if (column := _column(sheet, *each)) is not None)


@dataclass
class _Column:
    count: int
    lines: list[Line] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)


def _column(sheet: _Sheet, items: Sequence[Item], setting: _Setting) -> _Column | None:
    """Set facts one below the other; None where they are too high together."""
    column = _Column(len(items))
    free = sheet.free
    for item in items:
        # Small labels have no room for much difference in size.
        scale = item.scale if sheet.tall else (item.scale + 100) // 2
        em = half_points(setting.half_points) * scale // 100
        lettering = Lettering.BOLD if item.bold else Lettering.TEXT
        most = setting.bold_lines if item.bold else setting.lines
        texts, whole = _wrapped(sheet, item.text, lettering, em, most)
        height = len(texts) * _line_height(em)
        if height > free.height:
            return None
        column.lines.extend(_stacked(texts, free, em, lettering))
        if not whole:
            column.cut.append(item.text)
        free = free.below(height)
    return column


def _line_height(em: int) -> int:
    return em * 128 // 100


def _stacked(lines: Sequence[str], box: Box, em: int, lettering: Lettering) -> Iterator[Line]:
    for i, text in enumerate(lines):
        place = Box(box.x, box.y + i * _line_height(em), box.width, _line_height(em))
        yield Line(text, place, em, place.y + em, lettering)


def _wrapped(
    sheet: _Sheet, text: str, lettering: Lettering, em: int, most: int
) -> tuple[list[str], bool]:
    """Break a text into lines; the second tells whether all of it is there."""
    room = sheet.free.width

    def fits(text: str) -> bool:
        return sheet.ruler.width(text, lettering, em) <= room

    lines: list[str] = []
    rest = text
    while rest and len(lines) < most:
        last = rest
        taken = rest if fits(rest) else _start(rest, fits)
        lines.append(taken.rstrip())
        rest = rest[len(taken) :].lstrip()
    if rest:
        lines[-1] = _cut(last, fits)
    return lines, not rest


def _start(text: str, fits: Callable[[str], bool]) -> str:
    """Take as much from the beginning as fits: whole words, or letters where one word is too long.

    At least one character is taken, so that every text comes to an end.
    """
    length = _longest(text, fits)
    if text[length] != " ":
        length = text.rfind(" ", 0, length) + 1 or length
    while length > 1 and unicodedata.combining(text[length]):
        length -= 1
    return text[:length]


def _cut(text: str, fits: Callable[[str], bool]) -> str:
    """End a text that is too long with an ellipsis."""
    length = _longest(text, lambda start: fits(f"{start}…"))
    return f"{text[:length].rstrip()}…"


def _longest(text: str, fits: Callable[[str], bool]) -> int:
    """Find how many characters of a text that is too long fit; one is taken in any case."""
    shortest, too_long = 1, len(text)
    while shortest + 1 < too_long:
        middle = (shortest + too_long) // 2
        if fits(text[:middle]):
            shortest = middle
        else:
            too_long = middle
    return shortest
