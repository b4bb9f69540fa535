"""CSV cells that a spreadsheet cannot mistake for a formula."""

import csv
import json
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TextIO

from app.shared.times import text

# OWASP, "CSV Injection": a cell that begins with = + - @, their full-width forms, a tab, a carriage
# return or a line feed may be run as a formula; an apostrophe in front keeps it text. A text that
# has apostrophes before such a character gets one more, so that taking one off always gives the
# text back.
_FORMULA = re.compile("'*[-=+@\t\r\n\uff1d\uff0b\uff0d\uff20]")


def runs_as_formula(said: str) -> bool:
    """Tell whether a spreadsheet might take a text for a formula."""
    return _FORMULA.match(said) is not None


def cell(value: object) -> str:
    """Write a value for a CSV file: numbers as numbers, times in UTC, text neutralised."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case int() | Decimal():
            return f"{value:f}" if isinstance(value, Decimal) else str(value)
        case datetime():
            return text(value)
        case date():
            return value.isoformat()
    said = json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else str(value)
    return f"'{said}" if runs_as_formula(said) else said


def write_csv(file: TextIO, header: Sequence[str], rows: Iterable[Sequence[object]]) -> int:
    """Write CSV by RFC 4180 and count the rows: lines end in CR LF, quotes where they must be."""
    writer = csv.writer(file)
    writer.writerow(header)
    count = 0
    for row in rows:
        writer.writerow([cell(value) for value in row])
        count += 1
    return count
