"""What replaced what and what never was are facts too: never changed, lost or said twice."""

import pytest
from sqlalchemy import Engine

from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.records import (
    Rows,
    accepted_of,
    refusal_of,
    refuse_changes,
    refuse_emptying,
    refuse_replacing,
    rows_of,
    table_of,
)

TABLES = ("correction", "act_void")
REVERSAL = {"id": 99, "unit_id": 2, "entry_id": 1, "grams": 5, "reason": "count", "reverses_id": 1}


@pytest.fixture
def records(api: Api, engine: Engine) -> Rows:
    """At least one row in each table, and an adjustment that was taken back."""
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    roast(api, {sack: 10}, 8, code="R-1")
    roast(api, {sack: 11}, 9, code="R-2", corrects="R-1", correction_reason="mistyped")
    api.post("/adjustments", {"unit": sack, "kg": kg("-0.3"), "reason": "sample"})
    api.post("/adjustments/1/void", {"reason": "a slip"})
    api.post("/machines/DRUM-75/clean-downs", {})
    api.post("/machines/DRUM-75/clean-downs/1/void", {"reason": "a slip"})
    there = rows_of(engine, TABLES)
    assert all(there.values())
    return there


def test_no_correction_can_be_changed_or_deleted(engine: Engine, records: Rows) -> None:
    refuse_changes(engine, records)


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_table_of_corrections_can_be_emptied(engine: Engine, records: Rows) -> None:
    refuse_emptying(engine, records)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_no_correction_can_be_replaced_by_inserting_over_it(engine: Engine, records: Rows) -> None:
    refuse_replacing(engine, records)
    over = table_of("adjustment").insert().prefix_with("OR REPLACE").values(REVERSAL)

    assert "append-only" in refusal_of(engine, over)


@pytest.mark.usefixtures("records")
def test_nothing_is_replaced_or_taken_back_twice_and_a_void_is_of_one_act(engine: Engine) -> None:
    impossible = [
        ("correction", {"old_unit_id": 3, "new_unit_id": 4, "entry_id": 1, "reason": "twice"}),
        ("correction", {"old_unit_id": 4, "new_unit_id": 3, "entry_id": 1, "reason": "backward"}),
        ("act_void", {"entry_id": 1, "clean_down_id": 1, "reason": "twice"}),
        ("act_void", {"entry_id": 1, "reason": "of nothing"}),
        ("act_void", {"entry_id": 1, "check_weighing_id": 99, "reason": "of one not there"}),
        ("adjustment", REVERSAL),
    ]

    assert accepted_of(engine, impossible) == []
