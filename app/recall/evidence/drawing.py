"""Reports as PDF: the same bytes for the same state of the book.

The file carries the time of the last entry that was read and no other, and no random number. The
pictures stand on pages of their own at the end, across.
"""

from typing import Final

from fpdf import FPDF

from app.labels.fonts import FontRuler, readable
from app.labels.pieces import MM
from app.papers.drawing import blank_file, draw_page, draw_words
from app.papers.sheets import FOOT, PAGE, numbered
from app.recall.evidence.reading import Evidence
from app.recall.evidence.report import lay_out
from app.recall.evidence.wording import DRILL, heading
from app.recall.flow import title
from app.shared.speech import PLAIN, Speech
from app.tracing.flow.layout import Band, Picture
from app.tracing.flow.layout import lay_out as lay_flow_out
from app.tracing.flow.svg import SHADES

_ACROSS_FOOT: Final = 200 * MM


def draw_report(found: Evidence, speech: Speech = PLAIN) -> bytes:
    """Draw a report and write the file."""
    ruler = FontRuler()
    pages = lay_out(found, ruler, speech)
    caution = speech.gettext(found.scope.caution)
    pictures = [
        lay_flow_out(
            each.flow, readable(title(each.case, each.frozen, speech)), PAGE[1], ruler, [caution],
            speech=speech,
        )
        for each in found.pictures
    ]  # fmt: skip
    name = speech.gettext("Report on %(case)s") % {"case": heading(found.case, speech)}
    pdf = blank_file(name, found.recorded_at, speech)
    whole = len(pages) + len(pictures)
    code = found.case.code
    said = f"{speech.gettext(DRILL)} {code}" if found.case.drill else code
    for number, page in enumerate(pages, 1):
        page.words.append(numbered(said, number, whole, FOOT, speech))
        draw_page(pdf, page, ruler)
    for number, picture in enumerate(pictures, len(pages) + 1):
        foot = max(_ACROSS_FOOT, picture.height)
        picture.words.append(numbered(said, number, whole, foot, speech))
        _draw_picture(pdf, picture, ruler)
    return bytes(pdf.output())


def _draw_picture(pdf: FPDF, picture: Picture, ruler: FontRuler) -> None:
    high = max(PAGE[0], picture.height + 10 * MM) / MM
    pdf.add_page(orientation="landscape", format=(high, PAGE[1] / MM))
    for band in sorted(picture.bands, key=lambda band: -band.thick):
        _draw_band(pdf, band)
    for bar in picture.bars:
        pdf.set_fill_color(SHADES[bar.suspect][1])
        pdf.rect(bar.x / MM, bar.y / MM, bar.width / MM, bar.thick / MM, style="F")
    pdf.set_fill_color(0)
    for words in picture.words:
        draw_words(pdf, words, ruler)


def _draw_band(pdf: FPDF, band: Band) -> None:
    """Go along the upper edge, down, and back along the lower one."""
    right, left = (band.x + band.bend) / MM, (band.to_x - band.bend) / MM
    x, y, to_x, to_y = (length / MM for length in (band.x, band.y, band.to_x, band.to_y))
    thick = band.thick / MM
    with pdf.new_path() as path:
        path.style.fill_color = SHADES[band.suspect][0]
        path.style.fill_opacity = 0.85
        path.style.stroke_color = None
        path.move_to(x, y)
        path.curve_to(right, y, left, to_y, to_x, to_y)
        path.line_to(to_x, to_y + thick)
        path.curve_to(left, to_y + thick, right, y + thick, x, y + thick)
        path.close()
