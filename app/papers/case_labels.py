"""Labels of cases and pallets: with an SSCC as a GS1-128 symbol, with a code of the house as QR.

A module is 0.495 mm wide and the bars are 32 mm high, what the GS1 General Specifications ask of
logistic labels at the least (from memory).
"""

from datetime import datetime
from typing import Final, NamedTuple

from barcode.codex import Gs1_128
from fpdf import FPDF

from app.labels.drawing import PrintJob, draw
from app.labels.fonts import FontRuler
from app.labels.pieces import MM, Face, Item, Lettering, half_points
from app.papers.drawing import draw_words
from app.papers.sheets import Words
from app.shared.mass import kg_text
from app.standards.sscc import element_string, is_sscc

_MODULE: Final = 495
"""In micrometres."""
_BARS: Final = 32 * MM
QUIET: Final = 10
"""Modules that stay white on both sides (ISO/IEC 15417, from memory)."""
_TOP, _TEXT, _LARGE = 4 * MM, half_points(18), half_points(30)


class CaseFacts(NamedTuple):
    """What the label of a case says."""

    code: str
    kind: str
    bags: int
    grams: int
    lot_marks: tuple[str, ...]
    packed_at: datetime
    caution: str | None

    def said(self) -> tuple[str, ...]:
        """Say what is in it: its lot mark where it is one, else how many there are."""
        marks = self.lot_marks
        lots = marks[0] if len(marks) == 1 else f"{len(marks)} lot marks"
        kind = self.kind.replace("_", " ").capitalize()
        return (f"{kind}: {self.bags} bags, {kg_text(self.grams)} net", lots)


def draw_case_label(facts: CaseFacts, width_mm: int, height_mm: int) -> bytes:
    """Draw the label of one case."""
    size = (width_mm * MM, height_mm * MM)
    if is_sscc(facts.code):
        return _draw_sscc(facts, *size)
    first, second = facts.said()
    items = (Item((first,), 125, bold=True), Item((second,)))
    face = Face(facts.code, items, caution=facts.caution)
    return draw(PrintJob(facts.code, facts.packed_at, [face], size))


def bars(code: str) -> str:
    """Write the modules of an SSCC in GS1-128, 1 for dark, without the quiet zones."""
    [modules] = Gs1_128(f"00{code}").build()
    return str(modules)


def _draw_sscc(facts: CaseFacts, width: int, height: int) -> bytes:
    modules = bars(facts.code)
    # A narrow roll gets narrower modules: better read from near than not at all.
    module = min(_MODULE, width // (len(modules) + 2 * QUIET))
    pdf = FPDF(unit="mm", format=(width / MM, height / MM))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_creation_date(facts.packed_at)
    pdf.set_title(facts.code)
    pdf.set_creator("Jutebook")
    pdf.set_fill_color(0)
    pdf.set_text_color(0)
    pdf.add_page()
    left = (width - len(modules) * module) // 2
    tall = min(_BARS, height // 2)
    place = 0
    for run in modules.replace("01", "0 1").replace("10", "1 0").split():
        if run[0] == "1":
            x = (left + place * module) / MM
            pdf.rect(x, _TOP / MM, len(run) * module / MM, tall / MM, style="F")
        place += len(run)
    _draw_texts(pdf, facts, _TOP + tall, width)
    return bytes(pdf.output())


def _draw_texts(pdf: FPDF, facts: CaseFacts, y: int, width: int) -> None:
    ruler = FontRuler()
    texts = [(element_string(facts.code), _LARGE), *((said, _TEXT) for said in facts.said())]
    if facts.caution:
        texts.append((facts.caution, _TEXT))
    for text, em in texts:
        lettering = Lettering.CODE if em == _LARGE else Lettering.TEXT
        fitting = min(em, em * (width - 6 * MM) // max(ruler.width(text, lettering, em), 1))
        y += fitting * 14 // 10
        x = (width - ruler.width(text, lettering, fitting)) // 2
        draw_words(pdf, Words(x, y, text, fitting, lettering), ruler)
