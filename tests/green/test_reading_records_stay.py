"""Calibrations, alarms and voids of readings are never changed and never lost."""

import pytest
from sqlalchemy import Engine

from tests.api import Api
from tests.green.measuring import calibrate, measure, meter
from tests.makers import furnish, receive
from tests.records import (
    Rows,
    accepted_of,
    refuse_changes,
    refuse_emptying,
    refuse_replacing,
    rows_of,
)

TABLES = ("reading", "calibration", "calibration_void", "reading_void", "reading_alarm")


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

    accepted = accepted_of(engine, impossible)

    assert accepted == []
    assert rows_of(engine, TABLES) == records
