"""Labels as a PDF: black on white, the same bytes for the same labels.

The file carries the time of the print order and no other, and no random number.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache

from fpdf import FPDF
from fpdf.enums import TextMode

from app.labels.fonts import Font, FontRuler, readable, runs
from app.labels.layout import lay_out
from app.labels.pieces import Face, Layout, Lettering, Line
from app.labels.sheets import Grid, Place, places
from app.labels.symbols import QUIET, matrix
from app.shared.codes import Standing, standing

_MM = 1000
_PT = 25_400 / 72
_BLACK, _WHITE = 0, 255
_STROKE = 0.05
"""How far bold letters are drawn over their outline, in parts of their size."""
_OVERLAP = 0.02
"""How far modules reach into their neighbours, in parts of a module: without it viewers that
smooth each edge on its own show white hairs between them."""


@dataclass(frozen=True)
class PrintJob:
    """Labels to be drawn in one file."""

    title: str
    ordered_at: datetime
    faces: Sequence[Face]
    label: tuple[int, int]
    """Width and height in micrometres where each label has a page of its own."""
    grid: Grid | None = None
    start_at: int = 1


@lru_cache(maxsize=1)
def ruler() -> FontRuler:
    """Measure in the fonts that are drawn with."""
    return FontRuler()


def composed(face: Face, width: int, height: int) -> Layout:
    """Lay a label out in characters that can be printed."""
    shown = replace(
        face,
        items=tuple(replace(item, parts=tuple(map(readable, item.parts))) for item in face.items),
    )
    return lay_out(
        shown,
        len(matrix(face.code)),
        width,
        height,
        ruler(),
        checked=standing(face.code) is Standing.SOUND,
    )


def draw(job: PrintJob) -> bytes:
    """Draw every label of a job and write the file."""
    page = job.grid.page if job.grid else job.label
    pdf = FPDF(unit="mm", format=(page[0] / _MM, page[1] / _MM))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_creation_date(job.ordered_at)
    pdf.set_title(job.title)
    pdf.set_creator("Jutebook")
    pdf.set_draw_color(_BLACK)
    pages = 0
    for face, place in zip(job.faces, _places(job), strict=True):
        while pages <= place.page:
            pdf.add_page()
            pages += 1
        width, height = job.grid.label if job.grid else job.label
        _draw_label(pdf, composed(face, width, height), face.code, place)
    return bytes(pdf.output())


def _places(job: PrintJob) -> Iterator[Place]:
    if job.grid is None:
        return (Place(number, 0, 0) for number in range(len(job.faces)))
    return places(job.grid, job.start_at, len(job.faces))


def _draw_label(pdf: FPDF, layout: Layout, code: str, at: Place) -> None:
    _draw_symbol(pdf, layout, code, at)
    for line in layout.lines:
        _draw_line(pdf, line, at)


def _draw_symbol(pdf: FPDF, layout: Layout, code: str, at: Place) -> None:
    """Draw the dark modules, a run of them at a time."""
    module = layout.symbol.module
    left = at.x + layout.symbol.box.x + QUIET * module
    top = at.y + layout.symbol.box.y + QUIET * module
    pdf.set_fill_color(_BLACK)
    for row, modules in enumerate(matrix(code)):
        for column, length in _dark_runs(modules):
            pdf.rect(
                (left + column * module) / _MM,
                (top + row * module) / _MM,
                length * module / _MM,
                module * (1 + _OVERLAP) / _MM,
                style="F",
            )


def _dark_runs(modules: bytes) -> Iterator[tuple[int, int]]:
    """Name the runs of dark modules of a row: where each begins and how long it is."""
    begun = None
    for column, dark in enumerate((*modules, 0)):
        if dark and begun is None:
            begun = column
        elif not dark and begun is not None:
            yield begun, column - begun
            begun = None


def _draw_line(pdf: FPDF, line: Line, at: Place) -> None:
    box = line.box
    if line.inverse:
        pdf.set_fill_color(_BLACK)
        pdf.rect((at.x + box.x) / _MM, (at.y + box.y) / _MM, box.width / _MM, box.height / _MM, "F")
    width = ruler().width(line.text, line.lettering, line.em)
    x = at.x + box.x + ((box.width - width) // 2 if line.inverse else 0)
    pdf.set_text_color(_WHITE if line.inverse else _BLACK)
    bold = line.lettering is Lettering.BOLD
    for font, stretch in runs(line.text, line.lettering):
        _choose(pdf, font, line.em)
        with pdf.local_context(
            text_mode=TextMode.FILL_STROKE if bold else TextMode.FILL,
            line_width=line.em * _STROKE / _MM,
        ):
            pdf.text(x / _MM, (at.y + line.baseline) / _MM, stretch)
        x += ruler().width(stretch, line.lettering, line.em)
    if line.set_apart:
        _frame(pdf, line, at)


def _choose(pdf: FPDF, font: Font, em: int) -> None:
    family = font.name.lower()
    if family not in pdf.fonts:
        pdf.add_font(family, "", font.file)
    pdf.set_font(family, "", em / _PT)


def _frame(pdf: FPDF, line: Line, at: Place) -> None:
    """Frame the check character: it belongs to the code and is told apart from the number."""
    before = ruler().width(line.text[: -line.set_apart], line.lettering, line.em)
    whole = ruler().width(line.text, line.lettering, line.em)
    thick = line.em * 4 // 100
    pdf.set_line_width(thick / _MM)
    pdf.rect(
        (at.x + line.box.x + before) / _MM,
        (at.y + line.box.y + thick // 2) / _MM,
        (whole - before) / _MM,
        (line.em - thick) / _MM,
        style="D",
    )
