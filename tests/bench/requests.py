"""Reads and draws over so many connections, beside what answers without a database.

Draws stand beside a service that writes the same rows with nothing but the driver.
"""

from collections.abc import Iterator
from itertools import cycle
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
    beside: str
    ratio: float | None


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
    with ServiceProcess(filled.settings) as service:
        none: dict[int, Loaded] = {}
        for connections in CONNECTIONS:
            none[connections] = _load(service.address, _reads("/healthz"), connections, number)
            yield Line("no database", none[connections], "", None)
        for name, requests in {
            "a sack": _sacks(filled),
            "a list of 100 sacks": _reads("/api/v1/sacks?limit=100", filled.token),
        }.items():
            for connections in CONNECTIONS:
                loaded = _load(service.address, requests, connections, number)
                yield _beside(name, loaded, "no database", none[connections])
        ours = {
            connections: _load(service.address, _draws(filled), connections, number)
            for connections in CONNECTIONS
        }
    with ServerProcess(_bare, url) as server:
        for connections in CONNECTIONS:
            bare = _load(server.address, _draws(filled), connections, number)
            yield Line("a draw by the driver", bare, "", None)
            yield _beside("a draw", ours[connections], "the driver", bare)


def _bare(url: str) -> BareService:
    return BareService(BareBook(url).draw)


def _load(address: str, requests: Iterator[bytes], connections: int, number: int) -> Loaded:
    load(address, requests, connections, _WARM)
    return load(address, requests, connections, number)


def _beside(name: str, ours: Loaded, baseline: str, theirs: Loaded) -> Line:
    return Line(name, ours, baseline, ours.a_second / theirs.a_second)


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
