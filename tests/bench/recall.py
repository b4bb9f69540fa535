"""A recall of one lot of 300 sacks, act by act, beside the bare walk of the database's driver."""

import os
import platform
from collections.abc import Callable, Iterator
from pathlib import Path
from time import perf_counter, process_time
from typing import Any, NamedTuple

from sqlalchemy import Engine

from app.ledger.checks import check_book
from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.bench.filling import fill
from tests.makers import furnish

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
    """Of the seconds, those in which this process worked: on a busy machine the fairer figure.

    What PostgreSQL works is in its own processes and not among them.
    """
    found: str


def machine() -> str:
    """Say what the figures were measured on."""
    kib = next(
        (int(line.split()[1]) for line in Path("/proc/meminfo").read_text("utf-8").splitlines()
         if line.startswith("MemTotal")),
        0,
    )  # fmt: skip
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    return (
        f"{os.cpu_count()} processors, {kib / 2**20:.0f} GiB, {platform.system()}, "
        f"Python {platform.python_version()}; load before the run: {load}"
    )


def measure(url: str, flows: int, *, check: bool) -> Iterator[Timed]:
    """Fill a book and recall the lot in the middle of it; yields each figure as it comes."""
    settings = Settings(database_url=url, hold_on_arrival=False, _env_file=None)
    service = create_app(settings)
    engine: Engine = service.state.engine
    migrate(engine)
    with writing(engine) as session:
        api = Api(service, add_token(session, "bench", [Role.ADMIN]))
    furnish(api)
    lots: list[str] = []
    yield _timed("fill the book", 1, lambda: _filled(engine, flows, lots))
    if check:
        yield _timed("check the book", 1, lambda: _differences(engine))
    yield from _recall(api, engine, lots[len(lots) // 2])
    api.close()
    engine.dispose()


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
    best, found = (float("inf"), float("inf")), ""
    for _ in range(times):
        began, worked = perf_counter(), process_time()
        found = act()
        best = min(best, (perf_counter() - began, process_time() - worked))
    return Timed(name, *best, found)


def _filled(engine: Engine, flows: int, lots: list[str]) -> str:
    lots += fill(engine, flows)
    return f"{len(lots)} lots of 300 sacks"


def _bare_walk(engine: Engine, lot: str) -> str:
    mark = "?" if engine.dialect.name == "sqlite" else "%s"
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        cursor.execute(BARE_WALK.format(mark=mark), (lot,))
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
