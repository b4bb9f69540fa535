"""What every test may ask for: databases, the service, and the shared reference data."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis  # noqa: F401 - first of all: see below
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.ledger.checks import check_book
from app.main import create_app, open_book
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import make_book
from tests.postgres import PostgresServer, ReusedDatabase

# Selenium brings Trio, which hands Hypothesis a generator when that is imported. Imported only
# after a service was started and froze what the collector sees, it would warn that nobody has it.

CHECKOUT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """One server for each worker, started for the first test that asks."""
    with PostgresServer() as server:
        yield server


@pytest.fixture(scope="session")
def shared() -> Path:
    folder = Path(os.environ.get("JUTEBOOK_SHARED") or CHECKOUT.parent / "shared")
    if not folder.is_dir():
        pytest.skip("the shared reference data is not beside this checkout")
    return folder


@pytest.fixture(scope="session")
def sqlite_pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated and empty SQLite file, copied for each test."""
    file = tmp_path_factory.mktemp("pattern") / "pattern.db"
    make_book(f"sqlite:///{file}")
    return file


@pytest.fixture(scope="session")
def postgres_pattern(postgres_server: PostgresServer) -> str:
    """A migrated and empty PostgreSQL database, the template of each test's own."""
    postgres_server.create_database("pattern")
    make_book(postgres_server.url("pattern"))
    return "pattern"


@pytest.fixture(scope="session")
def postgres_book(postgres_server: PostgresServer, postgres_pattern: str) -> ReusedDatabase:
    """The one PostgreSQL database that the tests of a worker use in turn."""
    return ReusedDatabase(postgres_server, postgres_pattern)


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A migrated and empty database of the test's own; every test that asks runs on both."""
    if request.param == "sqlite":
        pattern: Path = request.getfixturevalue("sqlite_pattern")
        file = shutil.copy(pattern, tmp_path / "book.db")
        yield f"sqlite:///{file}"
        return
    database: ReusedDatabase = request.getfixturevalue("postgres_book")
    yield database.take()
    database.give_back()


@pytest.fixture
def settings(database_url: str) -> Settings:
    """Settings of a roastery that releases lots on arrival; tests of the hold say otherwise."""
    return Settings(database_url=database_url, hold_on_arrival=False, _env_file=None)


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    """The service with its routes, built once: that takes longer than most tests.

    By itself it has no book, and is there to be asked for its routes and its description.
    """
    nowhere = tmp_path_factory.mktemp("nowhere") / "unused.db"
    return create_app(Settings(database_url=f"sqlite:///{nowhere}", _env_file=None))


@pytest.fixture
def service(built: FastAPI, settings: Settings) -> Iterator[FastAPI]:
    """The service on a book of its own."""
    open_book(built, settings)
    yield built
    built.state.engine.dispose()


@pytest.fixture
def engine(service: FastAPI) -> Engine:
    """The service's own way to its database."""
    database: Engine = service.state.engine
    return database


@pytest.fixture
def api_as(service: FastAPI) -> Iterator[Callable[..., Api]]:
    """Sign in with roles: `api_as("roaster")`."""
    opened: list[Api] = []

    def sign_in(*roles: str) -> Api:
        with writing(service.state.engine) as session:
            token = add_token(session, "-".join(roles), [Role(role) for role in roles])
        opened.append(Api(service, token))
        return opened[-1]

    yield sign_in
    for api in opened:
        api.close()


@pytest.fixture
def api(api_as: Callable[..., Api]) -> Api:
    """The service as an administrator uses it."""
    return api_as("admin")


@pytest.fixture
def book_is_sound(engine: Engine) -> Callable[[], None]:
    """Let the book check itself: call it at the end of a test that wrote."""

    def check() -> None:
        with reading(engine) as session:
            assert list(check_book(session)) == []

    return check
