"""Databases that a whole module of tests reads, loaded once for each worker."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import hypothesis
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event
from sqlalchemy.engine.interfaces import DBAPICursor

from app.main import open_book
from app.settings import Settings
from app.shared.db import open_engine, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.postgres import PostgresServer

# A busy machine is no failure of a property.
hypothesis.settings.register_profile("unhurried", deadline=None)
hypothesis.settings.load_profile("unhurried")


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def module_url(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """A migrated and empty database of the module's own."""
    if request.param == "sqlite":
        pattern: Path = request.getfixturevalue("sqlite_pattern")
        yield f"sqlite:///{shutil.copy(pattern, tmp_path_factory.mktemp('module') / 'book.db')}"
        return
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name = f"module_{uuid4().hex}"
    server.create_database(name, template=request.getfixturevalue("postgres_pattern"))
    yield server.url(name)
    server.drop_database(name)


@pytest.fixture(scope="module")
def module_engine(module_url: str) -> Iterator[Engine]:
    """The way to the module's database."""
    engine = open_engine(module_url)
    yield engine
    engine.dispose()


@pytest.fixture
def module_api(built: FastAPI, module_url: str) -> Iterator[Api]:
    """The service on the module's database, as an administrator uses it."""
    open_book(built, Settings(database_url=module_url, _env_file=None))
    with writing(built.state.engine) as session:
        token = add_token(session, f"reader-{uuid4().hex[:8]}", [Role.ADMIN])
    api = Api(built, token)
    yield api
    api.close()
    built.state.engine.dispose()


@pytest.fixture
def statements(engine: Engine) -> Iterator[Callable[[], int]]:
    """Count the statements the service sends: each call answers how many since the one before."""
    sent: list[str] = []

    @event.listens_for(engine, "before_cursor_execute")
    def note(_connection: object, _cursor: DBAPICursor, statement: str, *_: object) -> None:
        sent.append(statement)

    def since_last() -> int:
        count = len(sent)
        sent.clear()
        return count

    yield since_last
    event.remove(engine, "before_cursor_execute", note)
