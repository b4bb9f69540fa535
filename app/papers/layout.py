"""Where everything stands on a delivery note, over as many pages as it takes.

Lengths are whole micrometres. Nothing is cut: a long name or address takes more lines, and a long
table goes on under its heading on the next page.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, NamedTuple

from app.labels.pieces import MM, Lettering, Ruler, half_points
from app.shared.mass import kg_text
from app.standards.sscc import element_string, is_sscc

PAGE: Final = (210 * MM, 297 * MM)
"""A4: ISO 216."""
_LEFT, _RIGHT, _TOP = 18 * MM, 192 * MM, 16 * MM
_BOTTOM = 276 * MM
"""Below it stands the foot of the page."""
_FOOT = 284 * MM
_TEXT, _SMALL, _LARGE = half_points(18), half_points(15), half_points(36)
_HALF = _LEFT + 90 * MM
_LOT, _UNTIL, _BAGS = _LEFT + 74 * MM, _LEFT + 116 * MM, _LEFT + 152 * MM
_GAP = 2 * MM

SOURCE: Final = (
    "Kept to say who supplied and who was supplied: Regulation (EC) No 178/2002, Article 18. What "
    "is said follows the pattern of Implementing Regulation (EU) No 931/2011, Article 3."
)


class NoteLine(NamedTuple):
    """Bags of one pack."""

    product: str
    sku: str
    gtin: str | None
    lot_mark: str
    best_before: date | None
    bags: int
    grams: int


class NoteCase(NamedTuple):
    """A case or pallet that left whole."""

    code: str
    kind: str
    bags: int
    grams: int


class NoteFacts(NamedTuple):
    """All that a delivery note says."""

    code: str
    sender: str
    sender_address: str
    customer: str
    address: str | None
    dispatched_at: datetime
    recorded_at: datetime
    reference: str | None
    order: str | None
    voided: bool
    lines: Sequence[NoteLine]
    cases: Sequence[NoteCase]
    crates: Sequence[tuple[str, int]]


class Words(NamedTuple):
    """A text in one line."""

    x: int
    y: int
    """Of its baseline."""
    text: str
    em: int
    lettering: Lettering = Lettering.TEXT


@dataclass
class Page:
    """What stands on one page."""

    words: list[Words] = field(default_factory=list)
    rules: list[int] = field(default_factory=list)
    """Lines across the page, by their height."""


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


class _Sheet:
    """A note being laid out: the pages so far, and how far down the last one is used."""

    def __init__(self, ruler: Ruler, facts: NoteFacts) -> None:
        self.ruler = ruler
        self.facts = facts
        self.pages: list[Page] = []
        self.y = 0
        self.turn()

    def turn(self) -> None:
        """Begin a page with what stands at the head of each."""
        self.pages.append(Page())
        self.y = _TOP
        title = f"Delivery note {self.facts.code}"
        heads = (["VOIDED"] if self.facts.voided else []) + wrapped(
            title, _RIGHT - _LEFT, _LARGE, Lettering.BOLD, self.ruler
        )
        for head in heads:
            self.write(_LEFT, head, _LARGE, Lettering.BOLD)
            self.y += _leading(_LARGE)
        self.y += _GAP

    def room(self, height: int) -> bool:
        """Tell whether so much still fits on this page."""
        return self.y + height <= _BOTTOM

    def write(self, x: int, text: str, em: int, lettering: Lettering = Lettering.TEXT) -> None:
        """Write from here on to the right."""
        self.pages[-1].words.append(Words(x, self.y + em, text, em, lettering))

    def right(self, x: int, text: str, em: int, lettering: Lettering = Lettering.TEXT) -> None:
        """Write so that it ends here."""
        self.write(x - self.ruler.width(text, lettering, em), text, em, lettering)

    def column(self, x: int, width: int, texts: Sequence[str], em: int = _TEXT) -> int:
        """Write texts under one another from where the sheet is; returns how high they are."""
        before = self.y
        for text in texts:
            for line in wrapped(text, width, em, Lettering.TEXT, self.ruler):
                self.write(x, line, em)
                self.y += _leading(em)
        height, self.y = self.y - before, before
        return height

    def height(self, width: int, texts: Sequence[str], em: int = _TEXT) -> int:
        """Measure what `column` would write."""
        lines = [
            line for text in texts for line in wrapped(text, width, em, Lettering.TEXT, self.ruler)
        ]
        return len(lines) * _leading(em)

    def rule(self) -> None:
        """Draw a line across."""
        self.pages[-1].rules.append(self.y)
        self.y += _GAP // 2


def _leading(em: int) -> int:
    return em * 13 // 10


def lay_out(facts: NoteFacts, ruler: Ruler) -> list[Page]:
    """Lay a delivery note out."""
    sheet = _Sheet(ruler, facts)
    _parties(sheet, facts)
    _about(sheet, facts)
    _heading(sheet)
    for line in facts.lines:
        _row(sheet, line)
    _totals(sheet, facts)
    _list(sheet, "Cases and pallets", [_case(each) for each in facts.cases])
    _list(sheet, "Crates", [f"{kind}: {count}" for kind, count in facts.crates])
    _list(sheet, "", [SOURCE], _SMALL)
    for number, page in enumerate(sheet.pages, 1):
        said = f"{facts.code}, page {number} of {len(sheet.pages)}"
        page.words.append(Words(_LEFT, _FOOT, said, _SMALL))
    return sheet.pages


def _parties(sheet: _Sheet, facts: NoteFacts) -> None:
    """Name who sends and who receives; an address that nobody entered is missed aloud."""
    sheet.write(_LEFT, "From", _SMALL)
    sheet.write(_HALF, "To", _SMALL)
    sheet.y += _leading(_SMALL)
    sender = [facts.sender or "Sender not entered", facts.sender_address or "Address not entered"]
    receiver = [facts.customer, facts.address or "Address not entered"]
    width = _HALF - _LEFT - 2 * _GAP
    sheet.y += max(
        sheet.column(_LEFT, width, sender), sheet.column(_HALF, _RIGHT - _HALF, receiver)
    )
    sheet.y += _GAP


def _about(sheet: _Sheet, facts: NoteFacts) -> None:
    said = [f"Dispatched {facts.dispatched_at:%Y-%m-%d %H:%M} UTC"]
    if facts.reference:
        said.append(f"Reference {facts.reference}")
    if facts.order:
        said.append(f"Order {facts.order}")
    sheet.y += sheet.column(_LEFT, _RIGHT - _LEFT, said) + _GAP


def _heading(sheet: _Sheet) -> None:
    sheet.write(_LEFT, "Product", _SMALL)
    sheet.write(_LOT, "Lot mark", _SMALL)
    sheet.write(_UNTIL, "Best before", _SMALL)
    sheet.right(_BAGS, "Bags", _SMALL)
    sheet.right(_RIGHT, "Net", _SMALL)
    sheet.y += _leading(_SMALL)
    sheet.rule()


def _row(sheet: _Sheet, line: NoteLine) -> None:
    """Write one line of the table, whole on one page."""
    about = [line.product, line.sku + (f", GTIN {line.gtin}" if line.gtin else "")]
    widths = (_LOT - _LEFT - _GAP, _UNTIL - _LOT - _GAP)
    height = max(sheet.height(widths[0], about), sheet.height(widths[1], [line.lot_mark]))
    if not sheet.room(height):
        sheet.turn()
        _heading(sheet)
    sheet.column(_LEFT, widths[0], about)
    sheet.column(_LOT, widths[1], [line.lot_mark])
    if line.best_before:
        sheet.write(_UNTIL, str(line.best_before), _TEXT)
    sheet.right(_BAGS, str(line.bags), _TEXT)
    sheet.right(_RIGHT, kg_text(line.grams), _TEXT)
    sheet.y += height + _GAP // 2


def _totals(sheet: _Sheet, facts: NoteFacts) -> None:
    if not sheet.room(_leading(_TEXT) + _GAP):
        sheet.turn()
        _heading(sheet)
    sheet.rule()
    bags = sum(line.bags for line in facts.lines)
    sheet.write(_LEFT, "Total", _TEXT, Lettering.BOLD)
    sheet.right(_BAGS, str(bags), _TEXT, Lettering.BOLD)
    total = kg_text(sum(line.grams for line in facts.lines))
    sheet.right(_RIGHT, total, _TEXT, Lettering.BOLD)
    sheet.y += _leading(_TEXT) + _GAP


def _case(case: NoteCase) -> str:
    code = f"SSCC {element_string(case.code)}" if is_sscc(case.code) else case.code
    kind = case.kind.replace("_", " ").capitalize()
    return f"{kind} {code}: {case.bags} bags, {kg_text(case.grams)} net"


def _list(sheet: _Sheet, title: str, texts: Sequence[str], em: int = _TEXT) -> None:
    """Write texts under a title, each whole on one page."""
    if not texts:
        return
    width = _RIGHT - _LEFT
    if not sheet.room(_leading(_SMALL) + sheet.height(width, texts[:1], em)):
        sheet.turn()
    if title:
        sheet.write(_LEFT, title, _SMALL)
        sheet.y += _leading(_SMALL)
    for text in texts:
        if not sheet.room(sheet.height(width, [text], em)):
            sheet.turn()
        sheet.y += sheet.column(_LEFT, width, [text], em)
    sheet.y += _GAP
