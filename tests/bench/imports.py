"""Taking over a hundred thousand sacks, beside the same rows written by the driver alone."""

import os
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from sqlalchemy import Engine, select
from sqlmodel import SQLModel

from app.green.opening import take_over
from app.green.schemas import StockFileIn
from app.ledger.posting import Pen
from app.shared.db import writing
from tests.bench.bare import write_rows
from tests.bench.machine import peak_mib, timed
from tests.bench.opened import opened

SACKS_A_LOT = 300
_WRITTEN = (
    "entry",
    "unit",
    "delivery",
    "green_lot",
    "sack",
    "flow",
    "move",
    "reading",
    "lot_paper",
)
"""The tables that an import writes, in the order in which they refer to one another."""


class Line(NamedTuple):
    """What one way of writing took."""

    name: str
    rows: int
    seconds: float
    at_work_s: float
    peak_mib: float
    """The most memory that this process had until then."""


def measure(url: Callable[[str], str], sacks: int) -> Iterator[Line]:
    """Import into one database and copy what came of it into another by its driver."""
    file = _file(sacks // SACKS_A_LOT)
    with opened(url("import")) as there:

        def imported() -> None:
            with writing(there.engine) as session:
                take_over(Pen(session, "bench", there.settings), StockFileIn(file=file))

        took, _ = timed(imported)
        rows = dict(_rows(there.engine))
    number = sum(map(len, rows.values()))
    yield Line("import of a stock file", number, *took, peak_mib(os.getpid()))
    with opened(url("bare")) as other:

        def copied() -> None:
            with writing(other.engine) as session:
                connection = session.connection().connection.driver_connection
                for name, some in rows.items():
                    write_rows(connection, name, some)

        took, _ = timed(copied)
    yield Line("the same rows by the driver", number, *took, peak_mib(os.getpid()))


def _file(lots: int) -> str:
    rows = [
        f"OS-{lot},Coffee {lot},ET,2026-03-02,{SACKS_A_LOT},60,A-01,{10 + lot % 20 / 10}"
        for lot in range(lots)
    ]
    return "\n".join(["lot,name,origin,received_at,sacks,sack_kg,location,moisture_pct", *rows, ""])


def _rows(engine: Engine) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Read what the import wrote, without the entries of the furnishing."""
    with engine.connect() as connection:
        for name in _WRITTEN:
            table = SQLModel.metadata.tables.get(name)
            if table is None:
                continue
            found = [dict(row) for row in connection.execute(select(table)).mappings()]
            if name == "entry":
                found = [row for row in found if row["kind"] == "opening stock"]
            if found:
                yield name, found
