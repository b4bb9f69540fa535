"""Pick lists and stock counts are never changed and never lost, whoever asks the database."""

from typing import Any

import pytest
from sqlalchemy import Engine, Executable, Row, Table, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import reading
from tests.api import Api
from tests.makers import furnish, receive, sack_codes

TABLES = (
    "pick_list", "pick_list_lot", "pick_list_line", "stock_count", "stock_count_sack",
    "stock_count_line", "stock_count_close", "stock_count_decision",
)  # fmt: skip

Rows = dict[str, list[Row[Any]]]


def table_of(name: str) -> Table:
    return SQLModel.metadata.tables[name]


def refusal_of(engine: Engine, statement: Executable) -> str:
    """Run a statement as anybody with access to the database could; what it says if it refuses."""
    try:
        with engine.begin() as connection:
            connection.execute(statement)
    except DBAPIError as error:
        return str(error.orig)
    return "nothing was refused"


def everything(engine: Engine) -> Rows:
    with reading(engine) as session:
        return {
            name: sorted(session.execute(select(table_of(name))).all(), key=repr) for name in TABLES
        }


@pytest.fixture
def records(api: Api, engine: Engine) -> Rows:
    """At least one row in each table."""
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))
    api.post("/pick-lists", {"lots": ["GL-1"], "kg": 10})
    api.post("/counts", {"lot": "GL-1"})
    api.post("/counts/1/lines", {"lines": [{"sack": sack, "kg": 59}]})
    api.post("/counts/1/close", {})
    api.post("/counts/1/reject", {"reason": "the scale was off"})
    there = everything(engine)
    assert all(there.values())
    return there


def test_no_record_can_be_changed_or_deleted(engine: Engine, records: Rows) -> None:
    for name in TABLES:
        table = table_of(name)
        column = list(table.c)[-1]
        assert "append-only" in refusal_of(engine, table.update().values({column: column})), name
        assert "append-only" in refusal_of(engine, table.delete()), name

    assert everything(engine) == records


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_table_of_records_can_be_emptied(engine: Engine, records: Rows) -> None:
    for name in TABLES:
        assert "append-only" in refusal_of(engine, text(f"TRUNCATE {name} CASCADE")), name

    assert everything(engine) == records


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_no_record_can_be_replaced_by_inserting_over_it(engine: Engine, records: Rows) -> None:
    for name in TABLES:
        over = table_of(name).insert().prefix_with("OR REPLACE")
        whole = over.from_select(list(table_of(name).c.keys()), select(table_of(name)))
        assert "append-only" in refusal_of(engine, whole), name

    assert everything(engine) == records
