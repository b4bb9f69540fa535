"""Where everything stands on a delivery note, over as many pages as it takes.

Lengths are whole micrometres. Nothing is cut: a long name or address takes more lines, and a long
table goes on under its heading on the next page.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final, NamedTuple

from app.labels.pieces import MM, Lettering, Ruler
from app.papers.sheets import GAP, LEFT, RIGHT, SMALL, TEXT, Page, Sheet, leading
from app.shared.mass import kg_text
from app.standards.sscc import element_string, is_sscc

_HALF = LEFT + 90 * MM
_LOT, _UNTIL, _BAGS = LEFT + 74 * MM, LEFT + 116 * MM, LEFT + 152 * MM

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


def lay_out(facts: NoteFacts, ruler: Ruler) -> list[Page]:
    """Lay a delivery note out."""
    heads = ["VOIDED"] if facts.voided else []
    sheet = Sheet(ruler, [*heads, f"Delivery note {facts.code}"])
    _parties(sheet, facts)
    _about(sheet, facts)
    _heading(sheet)
    for line in facts.lines:
        _row(sheet, line)
    _totals(sheet, facts)
    _list(sheet, "Cases and pallets", [_case(each) for each in facts.cases])
    _list(sheet, "Crates", [f"{kind}: {count}" for kind, count in facts.crates])
    _list(sheet, "", [SOURCE], SMALL)
    return sheet.number(facts.code)


def _parties(sheet: Sheet, facts: NoteFacts) -> None:
    """Name who sends and who receives; an address that nobody entered is missed aloud."""
    sheet.write(LEFT, "From", SMALL)
    sheet.write(_HALF, "To", SMALL)
    sheet.y += leading(SMALL)
    sender = [facts.sender or "Sender not entered", facts.sender_address or "Address not entered"]
    receiver = [facts.customer, facts.address or "Address not entered"]
    width = _HALF - LEFT - 2 * GAP
    sheet.y += max(sheet.column(LEFT, width, sender), sheet.column(_HALF, RIGHT - _HALF, receiver))
    sheet.y += GAP


def _about(sheet: Sheet, facts: NoteFacts) -> None:
    said = [f"Dispatched {facts.dispatched_at:%Y-%m-%d %H:%M} UTC"]
    if facts.reference:
        said.append(f"Reference {facts.reference}")
    if facts.order:
        said.append(f"Order {facts.order}")
    sheet.y += sheet.column(LEFT, RIGHT - LEFT, said) + GAP


def _heading(sheet: Sheet) -> None:
    sheet.write(LEFT, "Product", SMALL)
    sheet.write(_LOT, "Lot mark", SMALL)
    sheet.write(_UNTIL, "Best before", SMALL)
    sheet.right(_BAGS, "Bags", SMALL)
    sheet.right(RIGHT, "Net", SMALL)
    sheet.y += leading(SMALL)
    sheet.rule()


def _row(sheet: Sheet, line: NoteLine) -> None:
    """Write one line of the table, whole on one page."""
    about = [line.product, line.sku + (f", GTIN {line.gtin}" if line.gtin else "")]
    widths = (_LOT - LEFT - GAP, _UNTIL - _LOT - GAP)
    height = max(sheet.height(widths[0], about), sheet.height(widths[1], [line.lot_mark]))
    if not sheet.room(height):
        sheet.turn()
        _heading(sheet)
    sheet.column(LEFT, widths[0], about)
    sheet.column(_LOT, widths[1], [line.lot_mark])
    if line.best_before:
        sheet.write(_UNTIL, str(line.best_before), TEXT)
    sheet.right(_BAGS, str(line.bags), TEXT)
    sheet.right(RIGHT, kg_text(line.grams), TEXT)
    sheet.y += height + GAP // 2


def _totals(sheet: Sheet, facts: NoteFacts) -> None:
    if not sheet.room(leading(TEXT) + GAP):
        sheet.turn()
        _heading(sheet)
    sheet.rule()
    bags = sum(line.bags for line in facts.lines)
    sheet.write(LEFT, "Total", TEXT, Lettering.BOLD)
    sheet.right(_BAGS, str(bags), TEXT, Lettering.BOLD)
    total = kg_text(sum(line.grams for line in facts.lines))
    sheet.right(RIGHT, total, TEXT, Lettering.BOLD)
    sheet.y += leading(TEXT) + GAP


def _case(case: NoteCase) -> str:
    code = f"SSCC {element_string(case.code)}" if is_sscc(case.code) else case.code
    kind = case.kind.replace("_", " ").capitalize()
    return f"{kind} {code}: {case.bags} bags, {kg_text(case.grams)} net"


def _list(sheet: Sheet, title: str, texts: Sequence[str], em: int = TEXT) -> None:
    """Write texts under a title, each whole on one page."""
    if not texts:
        return
    width = RIGHT - LEFT
    if not sheet.room(leading(SMALL) + sheet.height(width, texts[:1], em)):
        sheet.turn()
    if title:
        sheet.write(LEFT, title, SMALL)
        sheet.y += leading(SMALL)
    for text in texts:
        if not sheet.room(sheet.height(width, [text], em)):
            sheet.turn()
        sheet.y += sheet.column(LEFT, width, [text], em)
    sheet.y += GAP
