"""A recall of one lot of 300 sacks, act by act, beside the bare walk of the database's driver."""

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from sqlalchemy import Engine

from app.ledger.checks import check_book
from app.shared.db import reading
from tests.api import Api
from tests.bench.bare import mark_of
from tests.bench.filling import fill
from tests.bench.machine import timed
from tests.bench.opened import opened

BARE_WALK = """
WITH RECURSIVE reached(id) AS (
  SELECT id FROM unit WHERE code = {mark}
  UNION SELECT flow.target_id FROM flow JOIN reached ON flow.source_id = reached.id
)
SELECT flow.source_id, flow.target_id, flow.grams
FROM flow JOIN reached ON flow.target_id = reached.id
"""
"""All a trace has to read at the least: every flow into anything the lot is in."""

READS = 3
"""How often what only reads is run; the fastest counts."""


class Timed(NamedTuple):
    """What something took, and what it came to."""

    name: str
    seconds: float
    processor: float
    found: str


def measure(url: str, flows: int, *, check: bool) -> Iterator[Timed]:
    """Fill a book and recall the lot in the middle of it; yields each figure as it comes."""
    lots: list[str] = []
    with opened(url) as there:
        yield _timed("fill the book", 1, lambda: _filled(there.engine, flows, lots))
        if check:
            yield _timed("check the book", 1, lambda: _differences(there.engine))
        yield from _recall(there.api, there.engine, lots[len(lots) // 2])


def _recall(api: Api, engine: Engine, lot: str) -> Iterator[Timed]:
    case = {
        "code": "BENCH-1", "kind": "recall", "trigger": {"kind": "lab_result", "text": "a bench"},
        "start": {"units": [lot]},
    }  # fmt: skip
    yield _timed("bare walk by the driver", READS, lambda: _bare_walk(engine, lot))
    yield _timed("trace forward", READS, lambda: _units(api.get(f"/trace/{lot}?direction=forward")))
    yield _timed("open case, scope frozen", 1, lambda: _scope(api.post("/recalls", case)["scope"]))
    yield _timed("stop", 1, lambda: f"{api.post('/recalls/BENCH-1/stop', {})['held_units']} held")
    for name, path in {
        "frozen scope": "/recalls/BENCH-1/scopes/1",
        "changes since": "/recalls/BENCH-1/changes",
        "reconciliation": "/recalls/BENCH-1/reconciliation",
        "flow, as SVG": "/recalls/BENCH-1/flow.svg?scope=1",
        "report, as PDF": "/recalls/BENCH-1/report.pdf",
        "report, as a workbook": "/recalls/BENCH-1/report.xlsx",
        "report, as CSV": "/recalls/BENCH-1/report.csv",
        "mass balance of the lot": f"/mass-balance/{lot}",
        "mass balance of the book": "/mass-balance",
    }.items():
        yield _timed(name, READS, lambda path=path: _size(api, path))  # type: ignore[misc]


def _timed(name: str, times: int, act: Callable[[], str]) -> Timed:
    (seconds, at_work_s), found = min(timed(act) for _ in range(times))
    return Timed(name, seconds, at_work_s, found)


def _filled(engine: Engine, flows: int, lots: list[str]) -> str:
    lots += fill(engine, flows)
    return f"{len(lots)} lots of 300 sacks"


def _bare_walk(engine: Engine, lot: str) -> str:
    connection = engine.raw_connection()
    try:
        walk = BARE_WALK.format(mark=mark_of(connection.driver_connection))
        cursor = connection.cursor()
        cursor.execute(walk, (lot,))
        return f"{len(cursor.fetchall())} flows"
    finally:
        connection.close()


def _differences(engine: Engine) -> str:
    with reading(engine) as session:
        return f"{sum(1 for _ in check_book(session))} differences"


def _units(trace: dict[str, Any]) -> str:
    return f"{len(trace['units'])} units, {len(trace['customers'])} customers"


def _scope(scope: dict[str, Any]) -> str:
    return f"{scope['units']} units, {scope['possible_contact']} of possible contact"


def _size(api: Api, path: str) -> str:
    answer = api.send("GET", path)
    assert answer.status_code == 200, answer.text
    return f"{len(answer.content) // 1024} KiB"
