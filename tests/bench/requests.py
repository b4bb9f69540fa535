"""Reads and draws over so many connections, beside what answers without a database.

Draws stand beside a service that writes the same rows with nothing but the driver.
"""

import os
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from typing import Final, NamedTuple

from sqlalchemy import Engine, text

from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.bench.bare import BareBook, BareService
from tests.bench.filling import fill
from tests.bench.load import Loaded, load, request
from tests.makers import furnish
from tests.serving import ServerProcess, ServiceProcess

CONNECTIONS: Final = (1, 16, 64)
_DRAW: Final = (
    '{"machine":"DRUM-75","end_kg":0.85,"draws":[{"sack":"%s","kg":1}],"profile_hit":true,'
    '"colour":60,"colour_target":60,"loss_range_pct":[5,25]}'
)
_WARM: Final = 200


class Line(NamedTuple):
    """One line of what came out, with the share of what its baseline answered a second."""

    name: str
    loaded: Loaded
    at_work_ms: float
    """What the server's process worked for each, on a busy machine the fairer figure."""
    beside: str = ""
    ratio: float | None = None


class Book(NamedTuple):
    """A filled book, and who may work with it."""

    settings: Settings
    token: str
    sacks: list[str]
    """Untouched ones, enough for all draws."""


def book(url: str, flows: int) -> Book:
    """Fill a book with years of work; with no flows, take one that was filled before."""
    settings = Settings(
        database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
        _env_file=None,
    )  # fmt: skip
    service = create_app(settings.model_copy(update={"statement_seconds": 0}))
    engine: Engine = service.state.engine
    migrate(engine)
    with writing(engine) as session:
        token = add_token(session, "bench", [Role.ADMIN])
    api = Api(service, token)
    if flows:
        furnish(api)
        fill(engine, flows)
    with engine.connect() as connection:
        sacks = connection.scalars(text(
            "SELECT code FROM unit WHERE kind = 'sack' AND left_g = made_g ORDER BY id DESC"
        )).all()  # fmt: skip
    api.close()
    engine.dispose()
    return Book(settings, token, list(sacks))


def measure(url: str, flows: int, number: int) -> Iterator[Line]:
    """Send `number` requests of each kind; yields each line as it comes."""
    filled = book(url, flows)
    draws = _draws(filled)
    ours: dict[int, Line] = {}
    with ServiceProcess(filled.settings) as service:
        none = {}
        for each in CONNECTIONS:
            none[each] = _loaded("no database", service, _reads("/healthz"), each, number)
            yield none[each]
        for name, requests in {
            "a sack": _sacks(filled),
            "a list of 100 sacks": _reads("/api/v1/sacks?limit=100", filled.token),
        }.items():
            for each in CONNECTIONS:
                yield _beside(_loaded(name, service, requests, each, number), none[each])
        for each in CONNECTIONS:
            ours[each] = _loaded("a draw", service, draws, each, number)
    with ServerProcess(_bare, url) as server:
        for each in CONNECTIONS:
            bare = _loaded("a draw by the driver", server, draws, each, number)
            yield bare
            yield _beside(ours[each], bare)


def _bare(url: str) -> BareService:
    return BareService(BareBook(url).draw)


def _loaded(
    name: str, server: ServerProcess, requests: Iterator[bytes], connections: int, number: int
) -> Line:
    load(server.address, requests, connections, _WARM)
    worked_s = _worked_s(server.pid)
    loaded = load(server.address, requests, connections, number)
    return Line(name, loaded, (_worked_s(server.pid) - worked_s) * 1000 / number)


def _worked_s(process: int) -> float:
    """Read how long a process has worked, by itself and in the kernel."""
    said = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(said[11]) + int(said[12])) / os.sysconf("SC_CLK_TCK")


def _beside(ours: Line, theirs: Line) -> Line:
    return ours._replace(beside=theirs.name, ratio=ours.loaded.a_second / theirs.loaded.a_second)


def _reads(path: str, token: str | None = None) -> Iterator[bytes]:
    return cycle([request("GET", path, token)])


def _sacks(filled: Book) -> Iterator[bytes]:
    return cycle([
        request("GET", f"/api/v1/sacks/{sack}", filled.token) for sack in filled.sacks
    ])  # fmt: skip


def _draws(filled: Book) -> Iterator[bytes]:
    return cycle([
        request("POST", "/api/v1/roasts", filled.token, (_DRAW % sack).encode())
        for sack in filled.sacks
    ])  # fmt: skip
