"""What a book of today would have been at an earlier schema, and what is to become of it."""

from unicodedata import normalize

from app.shared.names import fold_name
from tests.ledger.older.rows import Columns, Row, Rows
from tests.ledger.older.whole_book import ODD_NAMES

FILLED: dict[str, Row] = {
    "product": {"date_form": "auto"},
    "machine": {"carry_over_runs": 1},
    "location": {"carry_over_runs": 1},
    "customer": {"kind": "business"},
}
"""Columns that a migration fills in rows that are there, by table; all others stay empty."""

READ_OFF_LOTS = "lot_identity"
"""The one table that a migration (0006) fills: what the papers of the lots say that are there."""


def at_schema(revision: str, then: Columns, today: Rows) -> Rows:
    """Leave of a book what the tables of an earlier schema hold."""
    rows: Rows = {}
    for name, columns in then.items():
        held = ({column: row[column] for column in columns} for row in today[name])
        rows[name] = [row for row in held if _can_be(name, row)]
    for name in ODD_NAMES.keys() & rows.keys():
        for row in rows[name]:
            row["name_key"] = _folded(revision, row["name"])
    return rows


def _can_be(table: str, row: Row) -> bool:
    """Tell whether a row makes sense without its later columns.

    Until 0019 no void of a colour, of crates or of packing material could be named, and a void
    names one act.
    """
    if table != "act_void":
        return True
    return any(row[name] is not None for name in row.keys() - {"entry_id", "reason"})


def _folded(revision: str, name: str) -> str:
    """Bring a name to the form in which the program of that schema compared it."""
    if revision < "0024":
        return name.strip().casefold()
    if revision < "0029":
        return normalize("NFC", normalize("NFD", " ".join(name.split())).casefold())
    return fold_name(name)


def after_the_upgrade(before: Rows, then: Columns, today: Rows) -> Rows:
    """Say what is to be in a book at the newest schema: all that was there, and nothing made up."""
    rows: Rows = {name: [] for name in today}
    for name, columns in then.items():
        later: Row = dict.fromkeys(today[name][0].keys() - columns)
        later |= {each: value for each, value in FILLED.get(name, {}).items() if each in later}
        rows[name] = [row | later for row in before[name]]
    for name in ODD_NAMES.keys() & then.keys():
        for row in rows[name]:
            row["name_key"] = fold_name(row["name"])
    if READ_OFF_LOTS not in then:
        # Which lots came in one shipment was never asked: it is not on the papers.
        unasked = {"same_shipment_as_id": None}
        rows[READ_OFF_LOTS] = [row | unasked for row in today[READ_OFF_LOTS]]
    return rows
