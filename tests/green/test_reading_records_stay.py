"""Calibrations, alarms and voids of readings are never changed and never lost."""

from typing import Any

import pytest
from sqlalchemy import Engine, Executable, Row, Table, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import reading
from tests.api import Api
from tests.green.measuring import calibrate, measure, meter
from tests.makers import furnish, receive

TABLES = ("reading", "calibration", "calibration_void", "reading_void", "reading_alarm")

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
    receive(api, 60, lot="GL-1")
    meter(api)
    slip = calibrate(api, 3)["id"]
    api.post(f"/instruments/MM-2/calibrations/{slip}/void", {"reason": "slip"})
    taken = measure(api, "GL-1", "moisture", "13", instrument="MM-2")["id"]
    api.post(f"/readings/{taken}/void", {"reason": "slip"})
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


def test_nothing_is_voided_twice_and_no_reading_is_of_an_instrument_that_is_not_there(
    engine: Engine, records: Rows
) -> None:
    impossible = [
        ("reading_void", {"reading_id": 1, "entry_id": 1, "reason": "twice"}),
        ("reading_void", {"reading_id": 99, "entry_id": 1, "reason": "of nothing"}),
        ("calibration_void", {"calibration_id": 1, "entry_id": 1, "reason": "twice"}),
        (
            "reading",
            {"unit_id": 1, "kind": "moisture", "value_milli": 1, "entry_id": 1, "instrument_id": 9},
        ),
    ]

    accepted = [
        name
        for name, row in impossible
        if refusal_of(engine, table_of(name).insert().values(row)) == "nothing was refused"
    ]

    assert accepted == []
    assert everything(engine) == records
