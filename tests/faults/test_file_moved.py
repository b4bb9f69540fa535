"""The file of a book is moved, deleted or replaced beneath a service that goes on running.

Nothing is acknowledged that would be in a file nobody finds, no empty book appears in its place,
and the same service goes on when the file is back.
"""

import logging
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event, make_url
from sqlmodel import Session

from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, problem
from tests.serving import ServiceProcess, Wire, at_once
from tests.web.conftest import signed_in

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

_GONE = "The file of the book is not where it is kept"


@pytest.fixture
def book(database_url: str) -> Path:
    return Path(str(make_url(database_url).database))


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    return folder


@pytest.fixture
def running(settings: Settings, engine: Engine) -> Iterator[Wire]:
    """Ida, at a server process that has several connections to the file already."""
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))
    engine.dispose()
    with ServiceProcess(settings) as process, Wire(process.address, token) as ida:
        assert _enter(ida, "before") == 201
        at_once([partial(ida.ask, "/suppliers")] * 6)
        yield ida


def _enter(ida: Wire, name: str) -> int:
    return ida.post("/suppliers", {"name": name}, key=name).status_code


def _names(ida: Wire) -> list[str]:
    return [each["name"] for each in ida.get("/suppliers")["items"]]


def _refuses_all(ida: Wire, said: str = _GONE) -> None:
    for answer in (
        ida.ask("/suppliers"), ida.post("/suppliers", {"name": "lost"}, key="lost"),
        ida.ask("../../readyz"), ida.ask("/suppliers"),
    ):  # fmt: skip
        assert said in problem(answer, 503, "busy")["detail"]
        assert int(answer.headers["retry-after"]) > 0


def _files_of(book: Path) -> list[Path]:
    return sorted(book.parent.glob(f"{book.name}*"))


def _move_all(book: Path, folder: Path) -> None:
    for each in _files_of(book):
        each.rename(folder / each.name)


def _move_alone(book: Path, folder: Path) -> None:
    book.rename(folder / book.name)


@pytest.mark.parametrize("move", [_move_all, _move_alone])
def test_a_book_that_was_moved_away_is_refused_and_goes_on_when_it_is_back(
    running: Wire, book: Path, elsewhere: Path, move: Callable[[Path, Path], None]
) -> None:
    move(book, elsewhere)

    _refuses_all(running)
    assert not book.exists()
    for each in elsewhere.iterdir():
        each.rename(book.with_name(each.name))
    assert running.ask("../../readyz").status_code == 200
    assert _enter(running, "after") == 201
    assert _names(running) == ["before", "after"]


def test_a_book_that_was_deleted_is_refused_until_one_is_put_there(
    running: Wire, book: Path, elsewhere: Path
) -> None:
    copy = _copy(book, elsewhere)
    assert _enter(running, "late") == 201
    for each in _files_of(book):
        each.unlink()

    _refuses_all(running)
    assert _files_of(book) == []
    shutil.copy(copy, book)
    assert _names(running) == ["before"]
    assert _enter(running, "after") == 201


def test_a_copy_put_in_its_place_is_the_book_from_then_on(
    running: Wire, book: Path, elsewhere: Path
) -> None:
    copy = _copy(book, elsewhere)
    assert _enter(running, "late") == 201

    _move_all(book, elsewhere)
    copy.rename(book)

    assert _names(running) == ["before"]
    assert _enter(running, "after") == 201
    assert _names(running) == ["before", "after"]
    with closing(sqlite3.connect(elsewhere / book.name)) as old:
        found = old.execute("SELECT name FROM supplier ORDER BY name").fetchall()
    assert found == [("before",), ("late",)]


def test_a_copy_beside_which_the_log_of_the_book_before_lies_is_not_opened(
    running: Wire, book: Path, elsewhere: Path
) -> None:
    copy = _copy(book, elsewhere)
    whole = copy.read_bytes()
    assert _enter(running, "late") == 201

    copy.replace(book)

    _refuses_all(running, "the log of the one before lies beside it")
    assert book.read_bytes() == whole
    for each in _files_of(book)[1:]:
        each.unlink()
    assert _names(running) == ["before"]
    assert _enter(running, "after") == 201


def _copy(book: Path, folder: Path) -> Path:
    """Make a copy that is one whole file, as a backup is."""
    copy = folder / "copy.db"
    with closing(sqlite3.connect(book)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
        target.execute("PRAGMA journal_mode = DELETE")
    return copy


@contextmanager
def _moved_before_the_commit(book: Path, folder: Path) -> Iterator[None]:
    def move(_: Session) -> None:
        _move_all(book, folder)

    event.listen(Session, "before_commit", move)
    try:
        yield
    finally:
        event.remove(Session, "before_commit", move)


def test_what_is_being_written_when_the_book_is_moved_is_not_acknowledged(
    api: Api, book: Path, elsewhere: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with _moved_before_the_commit(book, elsewhere):
        refused = api.send("POST", "/suppliers", {"name": "Coop"}, Idempotency_Key="k-1")

    assert "nothing was booked" in problem(refused, 503, "busy")["detail"]
    noted = [each for each in caplog.records if each.name == "jutebook.database"]
    assert [each.levelno for each in noted] == [logging.ERROR]
    assert str(book) in noted[0].getMessage()
    for each in elsewhere.iterdir():
        each.rename(book.with_name(each.name))
    assert api.get("/suppliers")["items"] == []


def test_whoever_is_at_the_pages_is_told_and_strangers_are_not_told_where_it_is_kept(
    service: FastAPI, book: Path, elsewhere: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with signed_in(service, "Noor", "admin") as visitor:
        _move_all(book, elsewhere)

        for answer in (visitor.get("/"), visitor.post("/adjust", {}), visitor.get("/readyz")):
            assert answer.status_code == 503
            assert int(answer.headers["retry-after"]) > 0
            assert _GONE in answer.text
            assert str(book.parent) not in answer.text
    noted = [each for each in caplog.records if each.name == "jutebook.database"]
    assert noted
    assert all(f"There is no book at {book}" in each.getMessage() for each in noted)
