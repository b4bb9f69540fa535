"""The tables as a workbook and as CSV, the same bytes for the same state of the book.

Numbers are written as the decimals they are; no text becomes a formula, a link or a number.
"""

import io
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from xlsxwriter import Workbook

from app.recall.evidence.reading import Evidence
from app.recall.evidence.tables import Cell, Table, events, tables
from app.recall.evidence.wording import heading
from app.shared.cells import runs_as_formula, write_csv
from app.shared.mass import GRAM
from app.shared.speech import PLAIN, Speech

_WIDEST: Final = 40
_LONGEST: Final = 32_000
"""A cell of a workbook holds 32,767 characters."""
_PLAIN: Final = {
    "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
    "strings_to_numbers": False,
}  # fmt: skip
"""Rows go out as they come: a long scope does not stand in memory twice."""


def workbook(found: Evidence, speech: Speech = PLAIN) -> bytes:
    """Write every table as a sheet, row by row, each with a heading that stays in view."""
    file = io.BytesIO()
    book = Workbook(file, _PLAIN)
    book.set_properties({
        "title": heading(found.case, speech), "author": found.firm,
        "comments": speech.gettext(found.scope.caution),
        "created": found.recorded_at.replace(tzinfo=None),
    })  # fmt: skip
    formats = {
        "head": book.add_format({"bold": True, "bottom": 1}),
        "kg": book.add_format({"num_format": "0.000"}),
        "text": book.add_format({"quote_prefix": True}),
    }
    for table in tables(found, speech):
        _sheet(book, table, formats)
    book.close()
    return file.getvalue()


def _sheet(book: Workbook, table: Table, formats: dict[str, Any]) -> None:
    sheet = book.add_worksheet(table.name)
    sheet.freeze_panes(1, 1)
    for column, name in enumerate(table.header):
        sheet.set_column(column, column, min(max(len(name) + 4, 14), _WIDEST))
    for column, name in enumerate(table.header):
        sheet.write_string(0, column, name, formats["head"])
    row = 0
    for row, cells in enumerate(table.rows, 1):
        for column, value in enumerate(cells):
            _write(sheet, (row, column), value, formats)
    if row:
        sheet.autofilter(0, 0, row, len(table.header) - 1)


def _write(sheet: Any, at: tuple[int, int], value: Cell, formats: dict[str, Any]) -> None:  # noqa: ANN401 - the library has no types
    match value:
        case None:
            return
        case bool():
            sheet.write_boolean(*at, value)
        case Decimal():
            exact = value.as_tuple().exponent == GRAM.as_tuple().exponent
            sheet.write_number(*at, value, formats["kg"] if exact else None)
        case int():
            sheet.write_number(*at, value)
        case _:
            said = str(value)[:_LONGEST]
            sheet.write_string(*at, said, formats["text"] if runs_as_formula(said) else None)


def event_file(found: Evidence) -> bytes:
    """Write one row per unit and event as CSV."""
    return _csv(events(found))


def archive(found: Evidence, speech: Speech = PLAIN) -> bytes:
    """Write every table as a CSV file of its own, with what is needed to read them."""
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as files:
        _put(files, "READ-ME.txt", _about(found, speech).encode())
        for table in tables(found, speech):
            _put(files, f"{table.name}.csv", _csv(table))
    return file.getvalue()


def _csv(table: Table) -> bytes:
    written = io.StringIO(newline="")
    write_csv(written, table.header, table.rows)
    return written.getvalue().encode()


def _put(files: ZipFile, name: str, content: bytes) -> None:
    """Put a file in without the time of day, which would make every archive another."""
    about = ZipInfo(name)
    about.compress_type = ZIP_DEFLATED
    about.external_attr = 0o644 << 16
    files.writestr(about, content)


def _about(found: Evidence, speech: Speech) -> str:
    say = speech.gettext
    lines: Sequence[str] = (
        heading(found.case, speech),
        "",
        say(found.scope.caution),
        "",
        say("Each file is a table: UTF-8, commas, a header, lines that end in CR LF (RFC 4180)."),
        say("events.csv has one row per unit and event; codes.csv explains every code and word."),
        say("Names of files and columns, codes and numbers are the same in every language."),
        say("A text that a spreadsheet would take for a formula has an apostrophe in front."),
        say("Times are UTC, masses kilograms."),
    )
    return "".join(f"{line}\r\n" for line in lines)
