"""Pick lists and stock counts are never changed and never lost, whoever asks the database."""

import pytest
from sqlalchemy import Engine

from tests.api import Api
from tests.makers import furnish, receive, sack_codes
from tests.records import Rows, refuse_changes, refuse_emptying, refuse_replacing, rows_of

TABLES = (
    "pick_list", "pick_list_lot", "pick_list_line", "stock_count", "stock_count_sack",
    "stock_count_line", "stock_count_close", "stock_count_decision",
)  # fmt: skip


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
