"""Samples, gradings and cuppings are never changed and never lost, whoever asks the database."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, Executable, Row, Table, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import reading
from tests.api import Api, kg
from tests.makers import furnish, receive, sack_codes

TABLES = ("sample", "sample_part", "grading", "lot_cupping", "grading_void")

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
    drawn = {"subject": "GL-1", "kind": "arrival", "from": [{"sack": sack, "kg": kg("0.3")}]}
    number = api.post("/samples", drawn)["id"]
    api.post("/lots/GL-1/gradings", {"sample": number, "sample_g": 350, "defects": {}})
    score = {"form": "house", "form_version": "1", "score": 80}
    slip = api.post("/lots/GL-1/cuppings", score)["id"]
    api.post(f"/lots/GL-1/cuppings/{slip}/void", {"reason": "slip"})
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


IMPOSSIBLE: list[tuple[str, dict[str, Any]]] = [
    ("sample", {"kind": "offer", "entry_id": 1}),
    ("sample", {"kind": "offer", "entry_id": 1, "lot_id": 1, "subject_id": 1, "typical_of": "X"}),
    ("sample", {"kind": "offer", "entry_id": 1, "lot_id": 1}),
    ("sample_part", {"sample_id": 1, "sack_id": 2, "grams": 0}),
    ("grading_void", {"entry_id": 1, "reason": "of nothing"}),
    ("grading_void", {"entry_id": 1, "sample_id": 1, "grading_id": 1, "reason": "of two"}),
    ("grading_void", {"entry_id": 1, "lot_cupping_id": 1, "reason": "twice"}),
]
"""Samples of nothing or of two things, and voids of none, of two and twice."""


def test_what_cannot_be_is_not_taken_in(
    engine: Engine, records: Rows, book_is_sound: Callable[[], None]
) -> None:
    accepted = [
        (name, row)
        for name, row in IMPOSSIBLE
        if refusal_of(engine, table_of(name).insert().values(row)) == "nothing was refused"
    ]

    assert accepted == []
    assert everything(engine) == records
    book_is_sound()
