"""Reads and draws over so many connections, beside what answers without a database.

Draws stand beside the same rows written with nothing but the driver: behind the same service, which
asks who comes and reads the body, and behind no more than HTTP.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import cycle
from statistics import median
from typing import Final, NamedTuple

from sqlalchemy import text

from app.settings import Settings
from tests.bench.bare import BareService, as_served, service_by_the_driver
from tests.bench.filling import fill
from tests.bench.load import Loaded, load, request
from tests.bench.machine import peak_mib, worked_s
from tests.bench.opened import opened
from tests.serving import ServerProcess

CONNECTIONS: Final = (1, 16, 64)
_DRAW: Final = (
    '{"machine":"DRUM-75","end_kg":0.85,"draws":[{"sack":"%s","kg":1}],"profile_hit":true,'
    '"colour":60,"colour_target":60,"loss_range_pct":[5,25]}'
)
_WARM: Final = 200
_ROUNDS: Final = 16
_FOR_EACH_CONNECTION: Final = 4
"""At least so many in a round: over one that is only just there they come slower."""


class Line(NamedTuple):
    """What came out of all rounds of one kind, beside a baseline."""

    name: str
    connections: int
    a_second: float
    """In the middle one of the rounds."""
    p50_ms: float
    p99_ms: float
    refused: int
    at_work_ms: float
    """What the server's process worked for each, on a busy machine the fairer figure."""
    peak_mib: float
    """The most memory that it had until then."""
    beside: str = ""
    ratio: float | None = None
    """How many a second there were of what the baseline answered: the middle of all rounds."""


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


class Kind(NamedTuple):
    """One kind of request, and who answers it."""

    name: str
    server: ServerProcess
    requests: Iterator[bytes]


class Round(NamedTuple):
    """What came of a kind in one round."""

    loaded: Loaded
    at_work_s: float
    peak_mib: float


def measure(url: str, flows: int, number: int) -> Iterator[Line]:
    """Send `number` requests of each kind; yields the lines of each number of connections.

    Kinds take turns: a machine is seldom as fast all along, and what is compared shall have met
    the same weather.
    """
    filled = book(url, flows)
    draws = draws_of(filled)
    with (
        ServerProcess(as_served, filled.settings) as ours,
        ServerProcess(service_by_the_driver, filled.settings) as same_service,
        ServerProcess(BareService, url) as bare,
    ):
        none = Kind("no database", ours, reads_of("/healthz"))
        sack = Kind("a sack", ours, sacks_of(filled))
        some = Kind("a list of 100 sacks", ours, reads_of("/api/v1/sacks?limit=100", filled.token))
        by_driver = Kind("a draw by the driver, same service", same_service, draws)
        by_bare = Kind("a draw by the driver, bare HTTP", bare, draws)
        draw = Kind("a draw", ours, draws)
        kinds = [none, sack, some, by_driver, by_bare, draw]
        for connections in CONNECTIONS:
            rounds = _rounds(kinds, connections, number)
            for kind, beside in (
                (none, None), (sack, none), (some, none), (by_driver, None), (by_bare, None),
                (draw, by_driver), (draw, by_bare),
            ):  # fmt: skip
                line = _line(kind.name, connections, rounds[kind.name])
                if beside:
                    ratio = _middle(rounds[kind.name], rounds[beside.name])
                    line = line._replace(beside=beside.name, ratio=ratio)
                yield line


def _rounds(kinds: Sequence[Kind], connections: int, number: int) -> Mapping[str, list[Round]]:
    """Let kinds take turns, each round the other way round than the one before."""
    for kind in kinds:
        load(kind.server.address, kind.requests, connections, _WARM)
    rounds: dict[str, list[Round]] = {kind.name: [] for kind in kinds}
    each = max(number // _ROUNDS, _FOR_EACH_CONNECTION * connections)
    for _ in range(max(1, number // each)):
        for kind in kinds:
            before_s = worked_s(kind.server.pid)
            loaded = load(kind.server.address, kind.requests, connections, each)
            worked = worked_s(kind.server.pid) - before_s
            rounds[kind.name].append(Round(loaded, worked, peak_mib(kind.server.pid)))
        kinds = kinds[::-1]
    return rounds


def _line(name: str, connections: int, rounds: Sequence[Round]) -> Line:
    took_s = sorted(each for one in rounds for each in one.loaded.took_s)
    return Line(
        name,
        connections,
        median(one.loaded.a_second for one in rounds),
        took_s[len(took_s) // 2] * 1000,
        took_s[len(took_s) * 99 // 100] * 1000,
        sum(one.loaded.refused for one in rounds),
        sum(one.at_work_s for one in rounds) * 1000 / len(took_s),
        rounds[-1].peak_mib,
    )


def _middle(ours: Sequence[Round], theirs: Sequence[Round]) -> float:
    return median(
        one.loaded.a_second / other.loaded.a_second for one, other in zip(ours, theirs, strict=True)
    )


def reads_of(path: str, token: str | None = None) -> Iterator[bytes]:
    """Ask the same again and again."""
    return cycle([request("GET", path, token)])


def sacks_of(filled: Book) -> Iterator[bytes]:
    """Ask for one sack after another."""
    return cycle([
        request("GET", f"/api/v1/sacks/{sack}", filled.token) for sack in filled.sacks
    ])  # fmt: skip


def draws_of(filled: Book) -> Iterator[bytes]:
    """Draw from one sack after another."""
    return cycle([
        request("POST", "/api/v1/roasts", filled.token, (_DRAW % sack).encode())
        for sack in filled.sacks
    ])  # fmt: skip
