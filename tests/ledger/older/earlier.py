"""What a book of today would have been at an earlier schema, and what is to become of it."""

from unicodedata import normalize

from sqlalchemy import MetaData

from app.shared.names import fold_name
from tests.ledger.older.rows import Row, Rows
from tests.ledger.older.whole_book import ODD_NAMES

NO_LONGER_WRITTEN: dict[str, Row] = {"green_lot": {"cost_per_kg": "5.40", "currency": "USD"}}
"""Columns that earlier programs filled and today's does not: what stood in them, by table."""

FILLED: dict[str, Row] = {
    "product": {"date_form": "auto"},
    "machine": {"carry_over_runs": 1},
    "location": {"carry_over_runs": 1},
    "customer": {"kind": "business"},
}
"""Columns that a migration fills in rows that are there, by table; all others stay empty."""

READ_FROM_LOTS = "lot_identity"
"""The one table that a migration (0006) fills: what the papers say of the lots that are there."""


def at_schema(revision: str, then: MetaData, today: Rows) -> Rows:
    """Leave of a book what the tables of an earlier schema hold."""
    rows: Rows = {}
    for table in then.sorted_tables:
        held = [{name: row[name] for name in table.columns.keys()} for row in today[table.name]]
        rows[table.name] = [
            row | NO_LONGER_WRITTEN.get(table.name, {}) for row in held if _can_be(table.name, row)
        ]
    for name in ODD_NAMES.keys() & rows.keys():
        for row in rows[name]:
            row["name_key"] = _folded(revision, row["name"])
    return rows


def _can_be(table: str, row: Row) -> bool:
    """Tell whether a row makes sense without its later columns.

    Before 0019 no void of a colour, of crates or of packing material could be named.
    """
    if table != "act_void":
        return True
    return any(row[name] is not None for name in row if name not in {"entry_id", "reason"})


def _folded(revision: str, name: str) -> str:
    """Bring a name to the form in which the program of that schema compared it."""
    if revision < "0024":
        return name.strip().casefold()
    if revision < "0029":
        return normalize("NFC", normalize("NFD", " ".join(name.split())).casefold())
    return fold_name(name)


def after_the_upgrade(revision: str, then: MetaData, today: Rows) -> Rows:
    """Say what is to be in the book at the newest schema: all that was there, and nothing made up."""
    before = at_schema(revision, then, today)
    rows: Rows = {}
    for name, newest in today.items():
        later = (
            dict.fromkeys(newest[0].keys() - then.tables[name].columns.keys())
            if name in before
            else {}
        )
        filled = {
            column: value for column, value in FILLED.get(name, {}).items() if column in later
        }
        rows[name] = [row | later | filled for row in before.get(name, [])]
    for name in ODD_NAMES.keys() & before.keys():
        for row in rows[name]:
            row["name_key"] = fold_name(row["name"])
    if READ_FROM_LOTS not in before:
        rows[READ_FROM_LOTS] = [
            row | {"same_shipment_as_id": None} for row in today[READ_FROM_LOTS]
        ]
    return rows
