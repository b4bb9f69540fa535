"""Label stock: the two sizes of roll labels, and where the labels stand on cut sheets.

Lengths are whole micrometres. The sheets are the ones that office shops sell for laser printers:
common practice, no source.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple


class Size(StrEnum):
    """How big a label is."""

    LARGE = "large"
    SMALL = "small"


class Paper(StrEnum):
    """What a sheet of labels is cut from."""

    A4 = "a4"
    LETTER = "letter"


class Grid(NamedTuple):
    """A sheet of labels: paper, label, how many, and where the first one stands."""

    page: tuple[int, int]
    label: tuple[int, int]
    across: int
    down: int
    first: tuple[int, int]
    pitch: tuple[int, int]
    """From the edge of one label to the same edge of the next, across and down."""

    @property
    def places(self) -> int:
        """How many labels one sheet holds."""
        return self.across * self.down


_A4 = (210_000, 297_000)  # ISO 216
_LETTER = (215_900, 279_400)  # 8.5 by 11 inches

GRIDS = {
    (Paper.A4, Size.LARGE): Grid(
        _A4, (99_100, 67_700), 2, 4, first=(4_650, 13_100), pitch=(101_600, 67_700)
    ),
    (Paper.A4, Size.SMALL): Grid(
        _A4, (63_500, 38_100), 3, 7, first=(7_250, 15_150), pitch=(66_000, 38_100)
    ),
    (Paper.LETTER, Size.LARGE): Grid(
        _LETTER, (101_600, 84_666), 2, 3, first=(3_968, 12_700), pitch=(106_362, 84_666)
    ),
    (Paper.LETTER, Size.SMALL): Grid(
        _LETTER, (101_600, 50_800), 2, 5, first=(3_968, 12_700), pitch=(106_362, 50_800)
    ),
}


class Place(NamedTuple):
    """Where a label stands: on which page, from 0, and its upper left corner there."""

    page: int
    x: int
    y: int


def places(grid: Grid, start_at: int, count: int) -> Iterator[Place]:
    """Give `count` labels their places, row by row, the first at place `start_at` of its sheet."""
    for number in range(start_at - 1, start_at - 1 + count):
        page, place = divmod(number, grid.places)
        row, column = divmod(place, grid.across)
        yield Place(
            page, grid.first[0] + column * grid.pitch[0], grid.first[1] + row * grid.pitch[1]
        )
