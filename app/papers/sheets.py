"""Sheets of A4 that are filled from the top, over as many pages as it takes.

Lengths are whole micrometres. Nothing is cut: a long text takes more lines.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from app.labels.pieces import MM, Lettering, Ruler, half_points
from app.shared.speech import PLAIN, Speech

PAGE: Final = (210 * MM, 297 * MM)
"""A4: ISO 216."""
LEFT, RIGHT, TOP = 18 * MM, 192 * MM, 16 * MM
BOTTOM = 276 * MM
"""Below it stands the foot of the page."""
FOOT = 284 * MM
TEXT, SMALL, LARGE = half_points(18), half_points(15), half_points(36)
GAP = 2 * MM


def leading(em: int) -> int:
    """Tell how far lines of text stand apart."""
    return em * 13 // 10


class Words(NamedTuple):
    """A text in one line."""

    x: int
    y: int
    """Of its baseline."""
    text: str
    em: int
    lettering: Lettering = Lettering.TEXT


class Image(NamedTuple):
    """A picture, by its upper left corner."""

    x: int
    y: int
    width: int
    height: int
    png: bytes


@dataclass
class Page:
    """What stands on one page."""

    words: list[Words] = field(default_factory=list)
    rules: list[int] = field(default_factory=list)
    """Lines across the page, by their height."""
    images: list[Image] = field(default_factory=list)


def wrapped(text: str, width: int, em: int, lettering: Lettering, ruler: Ruler) -> list[str]:
    """Break a text into lines, between words where it can be, inside of one where it must."""
    lines: list[str] = []
    for said in text.splitlines():
        line = ""
        for word in said.split():
            together = f"{line} {word}" if line else word
            if ruler.width(together, lettering, em) <= width:
                line = together
                continue
            if line:
                lines.append(line)
            *full, line = _broken(word, width, em, lettering, ruler)
            lines += full
        lines.append(line)
    return [line for line in lines if line]


def _broken(word: str, width: int, em: int, lettering: Lettering, ruler: Ruler) -> Iterator[str]:
    """Break a word that is wider than its column."""
    part = ""
    for character in word:
        if part and ruler.width(part + character, lettering, em) > width:
            yield part
            part = ""
        part += character
    yield part


class Sheet:
    """Pages so far, and how far down the last one is used."""

    def __init__(self, ruler: Ruler, heads: Sequence[str]) -> None:
        self.ruler = ruler
        self.heads = heads
        """What stands at the head of each page."""
        self.pages: list[Page] = []
        self.y = 0
        self.turn()

    def turn(self) -> None:
        """Begin a page with what stands at the head of each."""
        self.pages.append(Page())
        self.y = TOP
        for said in self.heads:
            for head in wrapped(said, RIGHT - LEFT, LARGE, Lettering.BOLD, self.ruler):
                self.write(LEFT, head, LARGE, Lettering.BOLD)
                self.y += leading(LARGE)
        self.y += GAP

    def room(self, height: int) -> bool:
        """Tell whether so much still fits on this page."""
        return self.y + height <= BOTTOM

    def write(self, x: int, text: str, em: int, lettering: Lettering = Lettering.TEXT) -> None:
        """Write from here on to the right."""
        self.pages[-1].words.append(Words(x, self.y + em, text, em, lettering))

    def right(self, x: int, text: str, em: int, lettering: Lettering = Lettering.TEXT) -> None:
        """Write so that it ends here."""
        self.write(x - self.ruler.width(text, lettering, em), text, em, lettering)

    def column(self, x: int, width: int, texts: Sequence[str], em: int = TEXT) -> int:
        """Write texts under one another from where the sheet is; returns how high they are."""
        before = self.y
        for text in texts:
            for line in wrapped(text, width, em, Lettering.TEXT, self.ruler):
                self.write(x, line, em)
                self.y += leading(em)
        height, self.y = self.y - before, before
        return height

    def height(self, width: int, texts: Sequence[str], em: int = TEXT) -> int:
        """Measure what `column` would write."""
        lines = [
            line for text in texts for line in wrapped(text, width, em, Lettering.TEXT, self.ruler)
        ]
        return len(lines) * leading(em)

    def rule(self) -> None:
        """Draw a line across."""
        self.pages[-1].rules.append(self.y)
        self.y += GAP // 2

    def number(self, said: str, speech: Speech = PLAIN) -> list[Page]:
        """Number the pages in their feet."""
        for number, page in enumerate(self.pages, 1):
            page.words.append(numbered(said, number, len(self.pages), FOOT, speech))
        return self.pages


def numbered(said: str, number: int, pages: int, y: int, speech: Speech) -> Words:
    """Write in the foot of a page which of how many it is."""
    text = speech.gettext("%(said)s, page %(number)s of %(pages)s")
    return Words(LEFT, y, text % {"said": said, "number": number, "pages": pages}, SMALL)
