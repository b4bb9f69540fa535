"""Samples, gradings and cuppings are never changed and never lost, whoever asks the database."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine

from tests.api import Api, kg
from tests.makers import furnish, receive, sack_codes
from tests.records import (
    Rows,
    accepted_of,
    refuse_changes,
    refuse_emptying,
    refuse_replacing,
    rows_of,
)

TABLES = ("sample", "sample_part", "grading", "lot_cupping", "grading_void")


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
    there = rows_of(engine, TABLES)
    assert all(there.values())
    return there


def test_no_record_can_be_changed_or_deleted(engine: Engine, records: Rows) -> None:
    refuse_changes(engine, records)


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_table_of_records_can_be_emptied(engine: Engine, records: Rows) -> None:
    refuse_emptying(engine, records)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_no_record_can_be_replaced_by_inserting_over_it(engine: Engine, records: Rows) -> None:
    refuse_replacing(engine, records)


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
    accepted = accepted_of(engine, IMPOSSIBLE)

    assert accepted == []
    assert rows_of(engine, TABLES) == records
    book_is_sound()
