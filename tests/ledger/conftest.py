"""What the tests of the book share: sacks to draw from, and people who sign in over a wire."""

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event
from sqlalchemy.pool import ConnectionPoolEntry

from app.main import open_book
from app.settings import Settings
from app.shared.book_file import make_file
from app.shared.db import open_engine, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import furnish, receive, sack_codes
from tests.postgres import PostgresServer
from tests.serving import ServiceProcess, Wire, served


@pytest.fixture
def sack(api: Api, book_is_sound: Callable[[], None]) -> Iterator[str]:
    """A sack of 10 kg in a furnished roastery, whose book is still sound when the test is over."""
    furnish(api)
    yield sack_codes(receive(api, 10))[0]
    book_is_sound()


@pytest.fixture
def token(engine: Engine) -> str:
    with writing(engine) as session:
        return add_token(session, "ida", list(Role))


@pytest.fixture
def address(service: FastAPI) -> Iterator[str]:
    """The service on a real socket."""
    with served(service) as address:
        yield address


@pytest.fixture
def wire(address: str, token: str) -> Iterator[Wire]:
    """Ida, at the service."""
    with Wire(address, token) as line:
        yield line


@pytest.fixture
def stranger(address: str) -> Iterator[Wire]:
    """Somebody whose token was never made."""
    with Wire(address, "jb_nobody") as line:
        yield line


@pytest.fixture
def start_process(settings: Settings) -> Iterator[Callable[[], ServiceProcess]]:
    """Start one more server process on the test's database."""
    with ExitStack() as running:
        yield lambda: running.enter_context(ServiceProcess(settings))


@pytest.fixture
def call(token: str) -> Iterator[Callable[[ServiceProcess], Wire]]:
    """Connect Ida to a server process."""
    with ExitStack() as lines:
        yield lambda process: lines.enter_context(Wire(process.address, token))


@contextmanager
def _sqlite_copy(pattern: Path, folder: Path) -> Iterator[Engine]:
    file = shutil.copy(pattern, folder / f"{uuid4().hex}.db")
    engine = open_engine(f"sqlite:///{file}")

    @event.listens_for(engine, "connect")
    def _forget_the_disk(connection: sqlite3.Connection, _: ConnectionPoolEntry) -> None:
        connection.execute("PRAGMA synchronous = OFF")

    yield engine
    engine.dispose()
    Path(file).unlink()


@contextmanager
def _postgresql_copy(server: PostgresServer, pattern: str) -> Iterator[Engine]:
    name = f"walk_{uuid4().hex}"
    server.create_database(name, template=pattern)
    engine = open_engine(server.url(name))
    yield engine
    engine.dispose()
    server.drop_database(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def new_book(
    request: pytest.FixtureRequest, tmp_path: Path
) -> Callable[[], AbstractContextManager[Engine]]:
    """Open an empty book, as often as asked."""
    if request.param == "sqlite":
        file: Path = request.getfixturevalue("sqlite_pattern")
        return lambda: _sqlite_copy(file, tmp_path)
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name: str = request.getfixturevalue("postgres_pattern")
    return lambda: _postgresql_copy(server, name)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A database in which there is nothing yet; of SQLite not even the file."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'new' / 'book.db'}"
        return
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name = f"empty_{uuid4().hex}"
    server.create_database(name)
    yield server.url(name)
    server.drop_database(name)


@pytest.fixture
def empty(empty_url: str) -> Iterator[Engine]:
    engine = open_engine(empty_url)
    make_file(engine)
    yield engine
    engine.dispose()


@pytest.fixture
def api_of(built: FastAPI, empty: Engine, empty_url: str) -> Iterator[Callable[[], Api]]:
    """Sign in at today's program on the database that was empty, once its book is migrated."""
    with ExitStack() as opened:

        def sign_in() -> Api:
            settings = Settings(database_url=empty_url, hold_on_arrival=False, _env_file=None)
            open_book(built, settings)
            opened.callback(built.state.engine.dispose)
            with writing(empty) as session:
                token = add_token(session, "Later", [Role.ADMIN])
            api = Api(built, token)
            opened.callback(api.close)
            return api

        yield sign_in
