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
from app.papers.cases import case_name, contents_text
from app.papers.drawing import draw_words
from app.papers.sheets import Words, wrapped
from app.shared.speech import PLAIN, Speech
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

    def said(self, speech: Speech) -> tuple[str, str, str | None]:
        """Say what is in it: its lot mark where it is one, else how many there are."""
        marks = self.lot_marks
        many = speech.gettext("%(number)s lot marks") % {"number": len(marks)}
        lots = marks[0] if len(marks) == 1 else many
        within = contents_text(self.bags, self.grams, speech)
        caution = speech.gettext(self.caution) if self.caution else None
        return f"{case_name(self.kind, speech)}: {within}", lots, caution


def draw_case_label(facts: CaseFacts, size_mm: tuple[int, int], speech: Speech = PLAIN) -> bytes:
    """Draw the label of one case."""
    size = (size_mm[0] * MM, size_mm[1] * MM)
    if is_sscc(facts.code):
        return _draw_sscc(facts, *size, speech)
    first, second, caution = facts.said(speech)
    items = (Item((first,), 125, bold=True), Item((second,)))
    face = Face(facts.code, items, caution=caution)
    return draw(PrintJob(facts.code, facts.packed_at, [face], size))


def bars(code: str) -> str:
    """Write the modules of an SSCC in GS1-128, 1 for dark, without the quiet zones."""
    [modules] = Gs1_128(f"00{code}").build()
    return str(modules)


def _draw_sscc(facts: CaseFacts, width: int, height: int, speech: Speech) -> bytes:
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
    _draw_texts(pdf, facts, (_TOP + tall, width), speech)
    return bytes(pdf.output())


def _draw_texts(pdf: FPDF, facts: CaseFacts, below: tuple[int, int], speech: Speech) -> None:
    ruler = FontRuler()
    y, width = below
    first, second, caution = facts.said(speech)
    across = width - 6 * MM
    lines = wrapped(caution, across, _TEXT, Lettering.TEXT, ruler) if caution else []
    texts = [
        (element_string(facts.code), _LARGE), *((said, _TEXT) for said in (first, second, *lines)),
    ]  # fmt: skip
    for text, em in texts:
        lettering = Lettering.CODE if em == _LARGE else Lettering.TEXT
        fitting = min(em, em * across // max(ruler.width(text, lettering, em), 1))
        y += fitting * 14 // 10
        x = (width - ruler.width(text, lettering, fitting)) // 2
        draw_words(pdf, Words(x, y, text, fitting, lettering), ruler)
