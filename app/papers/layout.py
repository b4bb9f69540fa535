"""Where everything stands on a delivery note, over as many pages as it takes.

Lengths are whole micrometres. Nothing is cut: a long name or address takes more lines, and a long
table goes on under its heading on the next page.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final, NamedTuple

from app.labels.pieces import MM, Lettering, Ruler
from app.papers.cases import case_name, contents_text
from app.papers.sheets import GAP, LEFT, RIGHT, SMALL, TEXT, Page, Sheet, leading
from app.shared.speech import N_, PLAIN, Speech, at_here
from app.standards.sscc import element_string, is_sscc

_HALF = LEFT + 90 * MM
_LOT, _UNTIL, _BAGS = LEFT + 74 * MM, LEFT + 110 * MM, LEFT + 152 * MM

SOURCE: Final = N_(
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


def lay_out(facts: NoteFacts, ruler: Ruler, speech: Speech = PLAIN) -> list[Page]:
    """Lay a delivery note out."""
    say = speech.gettext
    heads = [say("VOIDED")] if facts.voided else []
    sheet = Sheet(ruler, [*heads, title(facts.code, speech)])
    _parties(sheet, facts, speech)
    _about(sheet, facts, speech)
    _heading(sheet, speech)
    for line in facts.lines:
        _row(sheet, line, speech)
    _totals(sheet, facts, speech)
    _list(sheet, say("Cases and pallets"), [_case(each, speech) for each in facts.cases])
    _list(sheet, say("Crates"), [f"{kind}: {count}" for kind, count in facts.crates])
    _list(sheet, "", [say(SOURCE)], SMALL)
    return sheet.number(facts.code, speech)


def title(code: str, speech: Speech) -> str:
    """Name a delivery note."""
    return speech.gettext("Delivery note %(code)s") % {"code": code}


def _parties(sheet: Sheet, facts: NoteFacts, speech: Speech) -> None:
    """Name who sends and who receives; an address that nobody entered is missed aloud."""
    say = speech.gettext
    sheet.write(LEFT, say("Sender"), SMALL)
    sheet.write(_HALF, say("Receiver"), SMALL)
    sheet.y += leading(SMALL)
    missing = say("Address not entered")
    sender = [facts.sender or say("Sender not entered"), facts.sender_address or missing]
    receiver = [facts.customer, facts.address or missing]
    width = _HALF - LEFT - 2 * GAP
    sheet.y += max(sheet.column(LEFT, width, sender), sheet.column(_HALF, RIGHT - _HALF, receiver))
    sheet.y += GAP


def _about(sheet: Sheet, facts: NoteFacts, speech: Speech) -> None:
    say, at = speech.gettext, at_here(facts.dispatched_at, speech, "%H:%M")
    said = [say("Dispatched %(at)s") % {"at": at}]
    if facts.reference:
        said.append(say("Reference %(reference)s") % {"reference": facts.reference})
    if facts.order:
        said.append(say("Order %(number)s") % {"number": facts.order})
    sheet.y += sheet.column(LEFT, RIGHT - LEFT, said) + GAP


def _heading(sheet: Sheet, speech: Speech) -> None:
    say = speech.gettext
    sheet.write(LEFT, say("Product"), SMALL)
    sheet.write(_LOT, say("Lot mark"), SMALL)
    sheet.write(_UNTIL, say("Best before"), SMALL)
    sheet.right(_BAGS, say("Bags"), SMALL)
    sheet.right(RIGHT, say("Net"), SMALL)
    sheet.y += leading(SMALL)
    sheet.rule()


def _row(sheet: Sheet, line: NoteLine, speech: Speech) -> None:
    """Write one line of the table, whole on one page."""
    about = [line.product, line.sku + (f", GTIN {line.gtin}" if line.gtin else "")]
    widths = (_LOT - LEFT - GAP, _UNTIL - _LOT - GAP)
    height = max(sheet.height(widths[0], about), sheet.height(widths[1], [line.lot_mark]))
    if not sheet.room(height):
        sheet.turn()
        _heading(sheet, speech)
    sheet.column(LEFT, widths[0], about)
    sheet.column(_LOT, widths[1], [line.lot_mark])
    if line.best_before:
        sheet.write(_UNTIL, speech.day(line.best_before), TEXT)
    sheet.right(_BAGS, speech.number(line.bags), TEXT)
    sheet.right(RIGHT, speech.mass(line.grams), TEXT)
    sheet.y += height + GAP // 2


def _totals(sheet: Sheet, facts: NoteFacts, speech: Speech) -> None:
    if not sheet.room(leading(TEXT) + GAP):
        sheet.turn()
        _heading(sheet, speech)
    sheet.rule()
    bags = sum(line.bags for line in facts.lines)
    sheet.write(LEFT, speech.gettext("Total"), TEXT, Lettering.BOLD)
    sheet.right(_BAGS, speech.number(bags), TEXT, Lettering.BOLD)
    total = speech.mass(sum(line.grams for line in facts.lines))
    sheet.right(RIGHT, total, TEXT, Lettering.BOLD)
    sheet.y += leading(TEXT) + GAP


def _case(case: NoteCase, speech: Speech) -> str:
    code = f"SSCC {element_string(case.code)}" if is_sscc(case.code) else case.code
    kind = case_name(case.kind, speech)
    return f"{kind} {code}: {contents_text(case.bags, case.grams, speech)}"


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
