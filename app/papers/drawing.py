"""Delivery notes as PDF: black on white, the same bytes for the same note.

The file carries the time at which the dispatch was booked and no other, and no random number.
"""

from collections.abc import Sequence
from datetime import datetime
from io import BytesIO

from fpdf import FPDF
from fpdf.enums import TextMode

from app.labels.fonts import FontRuler, readable, runs
from app.labels.pieces import MM, Lettering, half_points
from app.papers.layout import NoteFacts, lay_out, title
from app.papers.sheets import PAGE, Page, Words
from app.shared.speech import PLAIN, Speech

_POINT = half_points(2)
_STROKE = 0.03
"""How far bold letters are drawn over their outline, in parts of their size."""
_RULE = 0.2
_LEFT, _RIGHT = 18, 192


def draw_note(facts: NoteFacts, speech: Speech = PLAIN) -> bytes:
    """Draw a delivery note and write the file."""
    ruler = FontRuler()
    pages = lay_out(_readable(facts), ruler, speech)
    pdf = blank_file(title(facts.code, speech), facts.recorded_at, speech)
    for page in pages:
        draw_page(pdf, page, ruler)
    return bytes(pdf.output())


def blank_file(title: str, at: datetime, speech: Speech = PLAIN) -> FPDF:
    """Begin a file of A4 that carries this time and no other."""
    pdf = FPDF(unit="mm", format=(PAGE[0] / MM, PAGE[1] / MM))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_creation_date(at)
    pdf.set_title(title)
    pdf.set_lang(speech.language)
    pdf.set_creator("Jutebook")
    pdf.set_draw_color(0)
    pdf.set_text_color(0)
    return pdf


def _readable(facts: NoteFacts) -> NoteFacts:
    """Bring every text to characters that can be printed, addresses line by line."""
    return facts._replace(
        sender=readable(facts.sender),
        sender_address=_lines(facts.sender_address),
        customer=readable(facts.customer),
        address=_lines(facts.address or "") or None,
        reference=readable(facts.reference) if facts.reference else None,
        lines=[line._replace(product=readable(line.product)) for line in facts.lines],
        crates=[(readable(kind), count) for kind, count in facts.crates],
    )


def _lines(text: str) -> str:
    shown: Sequence[str] = [readable(line) for line in text.splitlines()]
    return "\n".join(line for line in shown if line)


def draw_page(pdf: FPDF, page: Page, ruler: FontRuler) -> None:
    """Draw a page: its lines, its pictures, then its words."""
    pdf.add_page()
    pdf.set_line_width(_RULE)
    for y in page.rules:
        pdf.line(_LEFT, y / MM, _RIGHT, y / MM)
    for image in page.images:
        pdf.image(BytesIO(image.png), x=image.x / MM, y=image.y / MM, w=image.width / MM)
    for words in page.words:
        draw_words(pdf, words, ruler)


def draw_words(pdf: FPDF, words: Words, ruler: FontRuler) -> None:
    """Write a text, each character in a font that has it."""
    x = words.x
    bold = words.lettering is Lettering.BOLD
    for font, stretch in runs(words.text, words.lettering):
        family = font.name.lower()
        if family not in pdf.fonts:
            pdf.add_font(family, "", font.file)
        pdf.set_font(family, "", words.em / _POINT)
        with pdf.local_context(
            text_mode=TextMode.FILL_STROKE if bold else TextMode.FILL,
            line_width=words.em * _STROKE / MM,
        ):
            pdf.text(x / MM, words.y / MM, stretch)
        x += ruler.width(stretch, words.lettering, words.em)
