"""Taking over a hundred thousand sacks, beside the same rows written by the driver alone."""

import resource
from collections.abc import Callable, Iterator
from time import perf_counter, process_time
from typing import Any, NamedTuple

from sqlalchemy import Engine, select
from sqlmodel import SQLModel

from app.green.opening import take_over
from app.green.schemas import StockFileIn
from app.ledger.posting import Pen
from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.bench.bare import write_rows
from tests.makers import furnish

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
    settings, engine = _furnished(url("import"))
    file = _file(sacks // SACKS_A_LOT)

    def imported() -> None:
        with writing(engine) as session:
            take_over(Pen(session, "bench", settings), StockFileIn(file=file))

    seconds, at_work_s = _timed(imported)
    rows = dict(_rows(engine))
    number = sum(map(len, rows.values()))
    engine.dispose()
    yield Line("import of a stock file", number, seconds, at_work_s, _peak_mib())
    _, other = _furnished(url("bare"))

    def copied() -> None:
        with writing(other) as session:
            connection = session.connection().connection.driver_connection
            for name, some in rows.items():
                write_rows(connection, name, some)

    yield Line("the same rows by the driver", number, *_timed(copied), _peak_mib())
    other.dispose()


def _furnished(url: str) -> tuple[Settings, Engine]:
    settings = Settings(database_url=url, hold_on_arrival=False, _env_file=None)
    service = create_app(settings)
    migrate(service.state.engine)
    with writing(service.state.engine) as session:
        token = add_token(session, "bench", [Role.ADMIN])
    api = Api(service, token)
    furnish(api)
    api.close()
    return settings, service.state.engine


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


def _timed(act: Callable[[], None]) -> tuple[float, float]:
    began, worked = perf_counter(), process_time()
    act()
    return perf_counter() - began, process_time() - worked


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
