"""Tables, facts, paragraphs and pictures on sheets of paper, each row whole on one page."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from app.labels.fonts import readable
from app.labels.pieces import MM, Lettering, Ruler, half_points
from app.papers.sheets import (
    GAP,
    LEFT,
    RIGHT,
    SMALL,
    TEXT,
    Image,
    Sheet,
    leading,
    wrapped,
)
from app.shared.mass import GRAM
from app.shared.speech import PLAIN, Speech

_TITLE: Final = half_points(24)
_NAMES: Final = 36 * MM
_SIGNED: Final = 12 * MM


class Column(NamedTuple):
    """A column of a table."""

    name: str
    width: int
    right: bool = False
    """Whether figures end at its right."""


def image_height(wide: float, high: float) -> int:
    """Tell how high a picture is that goes across the page."""
    return round((RIGHT - LEFT) * high / wide)


def kg(grams: int | None, speech: Speech) -> str:
    """Write grams as kilograms with three places, so that columns of them line up."""
    return "" if grams is None else f"{grams * GRAM}".replace(".", speech.decimal)


class Report:
    """A report being filled from the top, in one language."""

    def __init__(self, ruler: Ruler, heads: Sequence[str], speech: Speech = PLAIN) -> None:
        self.sheet = Sheet(ruler, [readable(head) for head in heads])
        self.speech = speech
        self.say = speech.gettext

    def title(self, said: str, room: int = 4 * leading(SMALL)) -> None:
        """Begin a section; on the page on which there is room for what it begins with."""
        sheet = self.sheet
        sheet.y += GAP
        if not sheet.room(leading(_TITLE) + GAP + room):
            sheet.turn()
        sheet.write(LEFT, said, _TITLE, Lettering.BOLD)
        sheet.y += leading(_TITLE) + GAP // 2

    def paragraph(self, said: str) -> None:
        """Write a text across the page."""
        self._whole(LEFT, RIGHT - LEFT, said)
        self.sheet.y += GAP // 2

    def _whole(self, x: int, width: int, said: str) -> None:
        sheet = self.sheet
        for line in wrapped(readable(said), width, TEXT, Lettering.TEXT, sheet.ruler):
            if not sheet.room(leading(TEXT)):
                sheet.turn()
            sheet.write(x, line, TEXT)
            sheet.y += leading(TEXT)

    def facts(self, facts: Sequence[tuple[str, str]]) -> None:
        """Write names and what they are; what is not known is left out."""
        for name, said in facts:
            if said:
                if not self.sheet.room(leading(TEXT)):
                    self.sheet.turn()
                self.sheet.y += TEXT - SMALL  # both stand on one line
                self.sheet.write(LEFT, name, SMALL)
                self.sheet.y -= TEXT - SMALL
                self._whole(LEFT + _NAMES, RIGHT - LEFT - _NAMES, said)
        self.sheet.y += GAP

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Write a table; its heading stands on each page again."""
        if not rows:
            self.paragraph(self.say("None."))
            return
        if not self.sheet.room(4 * leading(SMALL)):
            self.sheet.turn()
        self._heading(columns)
        for row in rows:
            self._row(columns, row)
        self.sheet.y += GAP

    def _heading(self, columns: Sequence[Column]) -> None:
        names = [column.name for column in columns]
        self._write(columns, self._cells(columns, names, Lettering.BOLD), Lettering.BOLD)
        self.sheet.rule()

    def _cells(
        self, columns: Sequence[Column], row: Sequence[str], lettering: Lettering
    ) -> list[list[str]]:
        return [
            wrapped(readable(said), column.width - GAP // 2, SMALL, lettering, self.sheet.ruler)
            for column, said in zip(columns, row, strict=True)
        ]

    def _row(self, columns: Sequence[Column], row: Sequence[str]) -> None:
        cells = self._cells(columns, row, Lettering.TEXT)
        if not self.sheet.room(max(*map(len, cells), 1) * leading(SMALL)):
            self.sheet.turn()
            self._heading(columns)
        self._write(columns, cells, Lettering.TEXT)
        self.sheet.y += GAP // 4

    def _write(
        self, columns: Sequence[Column], cells: Sequence[Sequence[str]], lettering: Lettering
    ) -> None:
        sheet = self.sheet
        top, x = sheet.y, LEFT
        for column, lines in zip(columns, cells, strict=True):
            sheet.y = top
            for line in lines:
                if column.right:
                    sheet.right(x + column.width, line, SMALL, lettering)
                else:
                    sheet.write(x, line, SMALL, lettering)
                sheet.y += leading(SMALL)
            x += column.width
        sheet.y = top + max(*map(len, cells), 1) * leading(SMALL)

    def image(self, png: bytes, wide: float, high: float) -> None:
        """Put a picture across the page, as high as its sides make it."""
        sheet, width, height = self.sheet, RIGHT - LEFT, image_height(wide, high)
        if not sheet.room(height):
            sheet.turn()
        sheet.pages[-1].images.append(Image(LEFT, sheet.y, width, height, png))
        sheet.y += height + GAP

    def lines(self, names: Sequence[str], times: int) -> None:
        """Leave room to be filled in by hand."""
        sheet = self.sheet
        if not sheet.room(times * (_SIGNED + leading(SMALL))):
            sheet.turn()
        across = (RIGHT - LEFT) // len(names)
        for _ in range(times):
            sheet.y += _SIGNED
            sheet.rule()
            for number, name in enumerate(names):
                sheet.write(LEFT + number * across, name, SMALL)
            sheet.y += leading(SMALL)
        sheet.y += GAP
