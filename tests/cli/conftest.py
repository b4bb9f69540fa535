"""A keyboard on the test's own book, and a second, empty database beside it."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import make_url
from typer.testing import CliRunner, Result

from app.cli import cli
from tests.postgres import PostgresServer

Jutebook = Callable[..., Result]


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with no settings but the test's own."""
    for name in [name for name in os.environ if name.startswith("JUTEBOOK_")]:
        if name != "JUTEBOOK_SHARED":
            monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def type_in() -> Jutebook:
    """Type a command: `type_in("tokens", "list", database="sqlite:///book.db")`."""

    def run(*words: object, database: str, typed: str = "", **settings: str) -> Result:
        named = {"JUTEBOOK_DATABASE_URL": database, **settings}
        result = CliRunner().invoke(cli, [str(word) for word in words], input=typed, env=named)
        # Anything else would have been a traceback.
        assert isinstance(result.exception, SystemExit | None), result.exception
        return result

    return run


@pytest.fixture
def jutebook(type_in: Jutebook, database_url: str) -> Jutebook:
    """Type a command about the test's own book: `jutebook("tokens", "list")`."""

    def run(*words: object, database: str = database_url, **more: str) -> Result:
        return type_in(*words, database=database, **more)

    return run


@pytest.fixture
def empty_url(request: pytest.FixtureRequest, database_url: str, tmp_path: Path) -> Iterator[str]:
    """A second database of the same kind, without any table."""
    if make_url(database_url).get_backend_name() == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
        return
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name = f"empty_{uuid4().hex}"
    server.create_database(name)
    yield server.url(name)
    server.drop_database(name)
