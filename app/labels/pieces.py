"""What a label is made of: what it says, and the lines and the symbol that stand on it.

Lengths are whole micrometres, so that "nothing overlaps" is exact; a font size is the height of its
em.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple, Protocol

MM = 1000
"""A millimetre."""


def half_points(size: int) -> int:
    """Turn half typographic points (1/144 inch) into micrometres."""
    return size * 25_400 // 144


LARGE_PRINT = half_points(48)
"""24 points: a code of up to 11 characters, as the book issues them, is never smaller."""


class Lettering(StrEnum):
    """How a text is drawn."""

    CODE = "code"
    """Bold, each character as wide as the other, no two alike."""
    TEXT = "text"
    BOLD = "bold"


class Ruler(Protocol):
    """Knows how wide a text is."""

    def width(self, text: str, lettering: Lettering, em: int) -> int:
        """Measure a text set at `em`."""


class Box(NamedTuple):
    """A part of the label, from its upper left corner."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height

    def overlaps(self, other: "Box") -> bool:
        """Tell whether two parts have more than an edge in common."""
        beside = self.right <= other.x or other.right <= self.x
        return not (beside or self.bottom <= other.y or other.bottom <= self.y)

    def holds(self, other: "Box") -> bool:
        """Tell whether the other part lies inside."""
        across = self.x <= other.x and other.right <= self.right
        return across and self.y <= other.y and other.bottom <= self.bottom

    def below(self, height: int) -> "Box":
        """Take that much off the top."""
        return Box(self.x, self.y + height, self.width, self.height - height)

    def above(self, height: int) -> "Box":
        """Take that much off the bottom."""
        return Box(self.x, self.y, self.width, self.height - height)


@dataclass(frozen=True)
class Item:
    """One fact, or some that share a line where there are few lines."""

    parts: tuple[str, ...]
    scale: int = 100
    """Its size, in per cent of the label's ordinary text."""
    bold: bool = False

    @property
    def text(self) -> str:
        """Say all of it in one line."""
        return ", ".join(self.parts)


@dataclass(frozen=True)
class Face:
    """Everything one label says.

    The items stand in the order of their weight: where a label is too small for all of them, the
    last ones are left out first.
    """

    code: str
    items: tuple[Item, ...]
    marks: tuple[str, ...] = ()
    """What must be seen from across the room."""
    caution: str | None = None

    def noting(self, note: str) -> "Face":
        """Add a remark in small print: the first thing to go where there is no room."""
        return replace(self, items=(*self.items, Item((note,), scale=75)))


@dataclass(frozen=True)
class Line:
    """One line of text in its place."""

    text: str
    box: Box
    em: int
    baseline: int
    """How far down the label the letters stand."""
    lettering: Lettering
    inverse: bool = False
    """White on a black bar that fills the box."""
    set_apart: int = 0
    """So many characters at the end are framed: the check character."""


@dataclass(frozen=True)
class Square:
    """The QR code in its place."""

    box: Box
    """With its quiet zone."""
    module: int


@dataclass(frozen=True)
class Layout:
    """A label, ready to be drawn."""

    width: int
    height: int
    symbol: Square
    lines: tuple[Line, ...]
    cut: tuple[str, ...] = ()
    """Facts that did not fit whole."""
    left_out: tuple[str, ...] = ()
    """Facts that did not fit at all."""
