"""Reads and draws over so many connections, beside what answers without a database.

Draws stand beside the same rows written with nothing but the driver: behind the same service, which
asks who comes and reads the body, and behind no more than HTTP.
"""

from collections.abc import Iterator
from functools import partial
from itertools import cycle
from typing import Final, NamedTuple

from sqlalchemy import text

from app.settings import Settings
from tests.bench.bare import BareService, service_by_the_driver
from tests.bench.filling import fill
from tests.bench.load import Loaded, load, request
from tests.bench.machine import worked_s
from tests.bench.opened import opened
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
    with opened(url, furnished=flows > 0) as there:
        if flows:
            fill(there.engine, flows)
        with there.engine.connect() as connection:
            sacks = connection.scalars(text(
                "SELECT code FROM unit WHERE kind = 'sack' AND left_g = made_g ORDER BY id DESC"
            )).all()  # fmt: skip
    return Book(there.settings, there.token, list(sacks))


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
    baselines = {
        "a draw by the driver, same service": partial(
            ServerProcess, service_by_the_driver, filled.settings
        ),
        "a draw by the driver, bare HTTP": partial(ServerProcess, BareService, url),
    }
    for name, start in baselines.items():
        with start() as server:
            for each in CONNECTIONS:
                bare = _loaded(name, server, draws, each, number)
                yield bare
                yield _beside(ours[each], bare)


def _loaded(
    name: str, server: ServerProcess, requests: Iterator[bytes], connections: int, number: int
) -> Line:
    load(server.address, requests, connections, _WARM)
    before_s = worked_s(server.pid)
    loaded = load(server.address, requests, connections, number)
    return Line(name, loaded, (worked_s(server.pid) - before_s) * 1000 / number)


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
