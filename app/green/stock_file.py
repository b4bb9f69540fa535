"""The stock file: what a row of it must say, and why a row is refused.

Nothing here touches a database. A row comes out as a `StockRow`, or as a `RefusedRow` that names
the line of the file it begins on and every reason at once, so that one look mends it.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Annotated, NamedTuple

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    ValidationInfo,
)

from app.green.origins import Country
from app.shared.codes import NewCode, PlaceCode, fold
from app.shared.mass import GRAM, HEAVIEST_G, Grams, kg_from_grams, share_out
from app.shared.shares import plain
from app.shared.times import FIRST_DAY, text, to_utc
from app.standards.currencies import is_currency

REQUIRED = ("lot", "name", "origin", "received_at", "sacks", "sack_kg")

_NUMBER = re.compile(r"[0-9]{1,20}(\.[0-9]{1,20})?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    _DATE.pattern + r"[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_SHOWN = 40
"""So many characters of a cell are repeated in a reason."""


class StockFileError(ValueError):
    """The file as a whole cannot be read as a stock file."""


class Limits(NamedTuple):
    """What a row is held against besides its own form."""

    latest: datetime
    """Nothing was received later than this."""
    lightest_g: int = 1
    heaviest_g: int = 30_000_000


def _shown(cell: object) -> str:
    said = str(cell)
    return repr(said if len(said) <= _SHOWN else said[:_SHOWN] + "…")


def _number(cell: object) -> Decimal:
    said = str(cell).strip()
    if not _NUMBER.fullmatch(said):
        raise ValueError(
            f"{_shown(cell)} is no plain number: digits, and a full stop before decimals"
        )
    return Decimal(said)


def _count(cell: object) -> int:
    said = str(cell).strip()
    if not re.fullmatch(r"[0-9]{1,20}", said):
        raise ValueError(f"{_shown(cell)} is no whole number")
    if not 1 <= int(said) <= 5000:  # noqa: PLR2004 - the figures stand in the message
        raise ValueError(f"{said} sacks: a lot has 1 to 5000")
    return int(said)


def _limits(info: ValidationInfo) -> Limits:
    assert isinstance(info.context, Limits)  # noqa: S101 - `_read_row` passes them
    return info.context


def _mass(cell: object, info: ValidationInfo) -> Decimal:
    limits = _limits(info)
    kilograms = _number(cell)
    if kilograms == 0:
        raise ValueError("a sack of 0 kg holds no coffee")
    if kilograms > HEAVIEST_G * GRAM:
        raise ValueError(f"{kilograms} kg is over the limit of 30000 kg")
    if kilograms != round(kilograms, 9):
        raise ValueError(f"{_shown(cell)} kg has more than 9 decimals")
    if not limits.lightest_g * GRAM <= kilograms <= limits.heaviest_g * GRAM:
        raise ValueError(
            f"a sack of {plain(kilograms)} kg is outside the limits of "
            f"{kg_from_grams(limits.lightest_g)} to {kg_from_grams(limits.heaviest_g)} kg"
        )
    return plain(kilograms)


def _moment(cell: object, info: ValidationInfo) -> datetime:
    said = str(cell).strip()
    limits = _limits(info)
    if not _DATE.fullmatch(said) and not _TIME.fullmatch(said):
        raise ValueError(
            f"{_shown(cell)} is neither a date such as 2026-03-02 "
            "nor a time with its offset such as 2026-03-02T08:00:00+01:00"
        )
    try:
        moment = datetime.fromisoformat(said)
        moment = moment.replace(tzinfo=UTC) if _DATE.fullmatch(said) else to_utc(moment)
    except (ValueError, OverflowError) as error:
        raise ValueError(f"{_shown(cell)} is no day or time of the calendar") from error
    if moment.date() < FIRST_DAY:
        raise ValueError(f"{said} lies before {FIRST_DAY}")
    if moment > limits.latest:
        raise ValueError(f"{said} lies in the future")
    return moment


def _moisture(cell: object) -> Decimal:
    value = _number(cell)
    if value == 0:
        raise ValueError("0 % means not measured: leave it blank")
    if value > 100:  # noqa: PLR2004 - per cent
        raise ValueError(f"{value} % is more than all of it")
    if value != value.quantize(Decimal("0.001")):
        raise ValueError(f"{value} % has more than 3 decimals")
    return plain(value)


def _price(cell: object) -> Decimal:
    return plain(_number(cell))


def _currency(code: str) -> str:
    if not is_currency(code):
        raise ValueError(f"{_shown(code)} is no currency code of ISO 4217 (such as EUR)")
    return code


def _storable(said: str) -> str:
    if "\0" in said:
        raise ValueError("text with a NUL character, which no database holds")
    return said


def _place(code: object) -> object:
    """Check a place code here, where a reason in words can be given."""
    folded = fold(code)
    if not re.fullmatch(r"[A-Z0-9][A-Z0-9._-]{0,31}", str(folded)):
        raise ValueError(f"{_shown(code)} is no code of a location")
    return folded


AsTyped = AfterValidator(_storable)
"""Words are kept as they were typed, with their spaces and line breaks."""


class StockRow(BaseModel):
    """One lot as the file states it; a blank cell is a field that was not said."""

    model_config = ConfigDict(frozen=True)

    line: int = Field(exclude=True)
    """Where the row begins, counted from 1 as a text editor does."""
    lot: NewCode
    name: Annotated[str, StringConstraints(max_length=500), AsTyped]
    origin: Country
    supplier: Annotated[str, StringConstraints(max_length=200), AsTyped] | None = None
    received_at: Annotated[datetime, BeforeValidator(_moment)]
    sacks: Annotated[int, BeforeValidator(_count)]
    sack_kg: Annotated[Decimal, BeforeValidator(_mass)]
    location: Annotated[PlaceCode, BeforeValidator(_place)] | None = None
    crop_year: Annotated[str, StringConstraints(max_length=100), AsTyped] | None = None
    process: Annotated[str, StringConstraints(max_length=200), AsTyped] | None = None
    ico_mark: Annotated[str, StringConstraints(max_length=100), AsTyped] | None = None
    moisture_pct: Annotated[Decimal, BeforeValidator(_moisture)] | None = None
    certificate: Annotated[str, StringConstraints(max_length=500), AsTyped] | None = None
    cost_per_kg: Annotated[Decimal, BeforeValidator(_price)] | None = None
    currency: Annotated[str, BeforeValidator(fold), AfterValidator(_currency)] | None = None
    note: Annotated[str, StringConstraints(max_length=2000), AsTyped] | None = None

    @property
    def whole_g(self) -> int:
        """What the lot weighs, to the nearest gram, half to even."""
        exact = self.sacks * self.sack_kg / GRAM
        return int(exact.to_integral_value(ROUND_HALF_EVEN))

    @property
    def weights(self) -> list[tuple[int, int]]:
        """How many sacks of how many grams are booked, the heavier first.

        A sack weighs whole grams. Weights converted from pounds seldom do, so what is rounded is
        the lot: some of its sacks are a gram heavier than the others, and together they weigh
        what the row says.
        """
        shares = Counter(share_out(Grams(self.whole_g), [1] * self.sacks))
        return [(count, grams) for grams, count in shares.items()]

    def said(self) -> dict[str, object]:
        """Say everything the row said in one form, whatever the spelling of its figures."""
        return self.model_dump(mode="json", exclude_none=True) | {
            "received_at": text(self.received_at)
        }


COLUMNS = tuple(name for name in StockRow.model_fields if name != "line")
"""In the order in which the documentation names them."""


@dataclass(frozen=True)
class RefusedRow:
    """A row that is not taken, and why."""

    line: int
    lot: str
    """As it was typed."""
    reasons: Sequence[tuple[str, str]]
    """Column and reason; no column where it is about the row as a whole."""

    def __str__(self) -> str:
        why = "; ".join(f"{column}: {said}" if column else said for column, said in self.reasons)
        return f"line {self.line}: {f'lot {self.lot}: ' if self.lot else ''}{why}"


@dataclass
class StockFile:
    """A stock file taken apart."""

    rows: list[StockRow] = field(default_factory=list)
    refused: list[RefusedRow] = field(default_factory=list)


def read_stock_file(content: bytes, limits: Limits) -> StockFile:
    """Read a stock file; of two rows with one lot code the later is refused.

    Raises:
        StockFileError: when it is no UTF-8, no CSV, has other columns, or holds no row.
    """
    taken = StockFile()
    first_lines: dict[str, int] = {}
    for line, cells in _records(_decoded(content)):
        row = _read_row(line, cells, limits)
        code = str(fold(cells.get("lot", "")))
        if code and code in first_lines:
            twin = ("lot", f"the same lot code as line {first_lines[code]}")
            row = RefusedRow(line, _plain_code(cells), [*_reasons(row), twin])
        first_lines.setdefault(code, line)
        if isinstance(row, StockRow):
            taken.rows.append(row)
        else:
            taken.refused.append(row)
    if not taken.rows and not taken.refused:
        raise StockFileError("The file has a header and no row below it.")
    return taken


def _reasons(row: StockRow | RefusedRow) -> Sequence[tuple[str, str]]:
    return row.reasons if isinstance(row, RefusedRow) else ()


def _plain_code(cells: Mapping[str, str]) -> str:
    said = cells.get("lot", "").strip()
    return said if said.isprintable() and len(said) <= _SHOWN else _shown(said)


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise StockFileError(
            f"Line {line} is not UTF-8: save the file as CSV with the encoding UTF-8."
        ) from error


def _records(content: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Hand out each record with the line it begins on; a line without any text is none."""
    reader = csv.reader(io.StringIO(content, newline=""), strict=True)
    header: list[str] | None = None
    begins = 1
    try:
        for cells in reader:
            if header is None:
                header = _header(cells)
            elif any(cell.strip() for cell in cells):
                yield begins, _named(header, cells)
            begins = reader.line_num + 1
    except csv.Error as error:
        raise StockFileError(f"The record at line {begins} is no CSV: {error}.") from error
    if header is None:
        raise StockFileError("The file is empty.")


_SURPLUS = ""
"""The name under which a record keeps that its number of cells is wrong."""


def _named(header: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    named = dict(zip(header, cells, strict=False))
    if len(cells) != len(header):
        named[_SURPLUS] = f"{len(cells)} cells where the header has {len(header)}"
    return named


def _header(cells: Sequence[str]) -> list[str]:
    names = [cell.strip() for cell in cells]
    if len(names) == 1 and names[0].count(";") + names[0].count("\t") >= len(REQUIRED) - 1:
        raise StockFileError(
            "The columns are parted by semicolons or tabs: save the file with commas."
        )
    twice = sorted({name for name in names if name and names.count(name) > 1})
    faults = {
        "unknown": [name or "(blank)" for name in names if name not in COLUMNS],
        "there twice": twice,
        "missing": [name for name in REQUIRED if name not in names],
    }
    said = [
        f"{', '.join(columns)} {'is' if len(columns) == 1 else 'are'} {what}"
        for what, columns in faults.items()
        if columns
    ]
    if said:
        raise StockFileError(
            f"In the header {'; '.join(said)}. The columns are {', '.join(COLUMNS)}; "
            f"{', '.join(REQUIRED)} must be there."
        )
    return names


def _read_row(line: int, cells: Mapping[str, str], limits: Limits) -> StockRow | RefusedRow:
    if _SURPLUS in cells:
        return RefusedRow(line, _plain_code(cells), [("", cells[_SURPLUS])])
    said = {name: cell for name, cell in cells.items() if cell.strip()}
    reasons = []
    if "cost_per_kg" in said and "currency" not in said:
        reasons.append(("currency", "is missing beside a price"))
    try:
        row = StockRow.model_validate({"line": line, **said}, context=limits)
    except ValidationError as error:
        reasons += [
            (str(flaw["loc"][0]), _reason(flaw["type"], flaw["msg"]))
            for flaw in error.errors(include_url=False)
        ]
    return RefusedRow(line, _plain_code(cells), reasons) if reasons else row


def _reason(kind: str, message: str) -> str:
    if kind == "missing":
        return "is missing"
    return message.removeprefix("Value error, ").replace(
        "String should have at most", "has more than"
    )
