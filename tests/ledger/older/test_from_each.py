"""From every schema there was, a book with something in every table comes whole to the newest.

The book is one of today's program, without the tables and columns that were not there yet. Its
journal is that of today, so it tells also of acts that no table of that schema can hold. Entries,
units, flows and adjustments are what they were at every schema, so the check of the book sees all
of them, with every hash.
"""

from collections.abc import Callable

import pytest
from sqlalchemy import Engine, text

from app.ledger.checks import check_book
from app.revision import lag
from app.schema import migrate
from app.shared.db import reading
from tests.api import Api
from tests.ledger.older.earlier import after_the_upgrade, at_schema
from tests.ledger.older.rows import (
    STEPS,
    Columns,
    Rows,
    columns_of,
    insert_rows,
    read_rows,
)
from tests.makers import dispatch, pack, roast

HELD_BEFORE = ("LOT-A", "BATCH-1", "HALVES-1", "HALVES-BAGS", "FOR-ORDER")
"""One of each kind of unit that were in the book before the upgrade."""

SINCE_WIDENED = (
    "suppliers", "customers", "locations", "machines", "products", "styles", "contracts",
    "deliveries", "lots", "sacks", "readings", "adjustments", "roasts", "blends", "packs",
    "dispatches",
)  # fmt: skip
"""Lists of what has got more columns since some schema, and of old rows lacks what stands there."""


@pytest.mark.parametrize("revision", STEPS[:-1])
def test_all_that_was_in_a_book_is_there_after_the_upgrade_and_it_goes_on(
    revision: str, empty: Engine, today: Rows, api_of: Callable[[], Api]
) -> None:
    migrate(empty, revision)
    then = columns_of(empty)
    before = at_schema(revision, then, today)
    insert_rows(empty, before)

    migrate(empty)

    assert _left_empty(before, then, today) == []
    assert lag(empty) is None
    found = read_rows(empty)
    for name, rows in after_the_upgrade(before, then, today).items():
        assert found.pop(name) == rows, name
    assert not found
    _go_on(api_of())
    assert _unsound(empty) == []


def _left_empty(before: Rows, then: Columns, today: Rows) -> list[str]:
    """Name tables that held nothing before, and columns added since of which nothing was left out.

    Of those no migration could have spoilt anything.
    """
    later = [(name, column) for name in then for column in today[name][0].keys() - then[name]]
    return [name for name, rows in before.items() if not rows] + [
        f"{name}.{column}"
        for name, column in later
        if all(row[column] is None for row in today[name])
    ]


def _go_on(api: Api) -> None:
    """Look at what was there; roast, pack and send of it, and trace what went out."""
    for code in HELD_BEFORE:
        assert api.get(f"/units/{code}")["code"] == code
        assert api.get(f"/trace/{code}?direction=backward")["units"]
    for what in SINCE_WIDENED:
        assert api.get(f"/{what}")["items"] is not None, what
    sack = api.get("/sacks?lot=LOT-A&on_hand=true")["items"][0]["code"]
    roast(api, {sack: 12}, 10, code="LATER-1", machine="DRUM-9")
    pack(api, {"LATER-1": 5}, 10, sku="HALVES-500", code="LATER-2")
    dispatch(api, {"LATER-2": 4}, code="LATER-3")
    traced = api.get("/trace/LATER-3?direction=backward")
    assert {"LOT-A", sack, "LATER-1", "LATER-2"} <= {each["code"] for each in traced["units"]}
    assert [each["customer"] for each in traced["customers"]] == ["Café Nord"]


def _unsound(engine: Engine) -> list[object]:
    """Name what the check of the book finds, and references that lead nowhere."""
    with reading(engine) as session:
        found: list[object] = list(check_book(session))
        if engine.dialect.name == "sqlite":
            found += session.execute(text("PRAGMA foreign_key_check")).all()
    return found
