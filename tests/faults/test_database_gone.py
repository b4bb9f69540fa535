"""A database that goes away, is locked, cannot be written or is full: 503, then on as before.

The service is the same one before and after: nobody has to start it again.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event, make_url
from sqlalchemy.exc import TimeoutError as NoConnectionError

from app.main import create_app, open_book
from app.schema import migrate
from app.settings import Settings
from app.shared.db import open_engine, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, problem
from tests.makers import furnish, receive
from tests.postgres import PostgresServer
from tests.web.conftest import Visitor, signed_in

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def _refused_whole(answer: httpx.Response) -> None:
    problem(answer, 503, "busy")
    assert int(answer.headers["retry-after"]) > 0


def _enter(api: Api, key: str) -> httpx.Response:
    return api.send("POST", "/suppliers", {"name": f"Coop {key}"}, Idempotency_Key=key)


def _names(api: Api) -> list[str]:
    return [each["name"] for each in api.get("/suppliers?limit=100")["items"]]


def test_whoever_waits_too_long_for_a_connection_is_told_to_come_again(
    service: FastAPI, api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine: Engine = service.state.engine
    monkeypatch.setattr(engine.pool, "_timeout", 0)
    with ExitStack() as taken:
        with suppress(NoConnectionError):
            while True:
                taken.enter_context(engine.connect())
        _refused_whole(_enter(api, "k-1"))
        _refused_whole(api.send("GET", "/suppliers"))

    assert _enter(api, "k-1").status_code == 201
    assert _names(api) == ["Coop k-1"]


@pytest.fixture
def impatient(service: FastAPI, settings: Settings) -> FastAPI:
    """The service with a writer that waits a second for the one before it."""
    service.state.engine.dispose()
    open_book(service, settings.model_copy(update={"busy_timeout_s": 1}))
    return service


def test_a_write_that_waits_too_long_for_another_is_told_to_come_again(
    impatient: FastAPI, api: Api, database_url: str
) -> None:
    other = open_engine(database_url)
    with writing(other):
        _refused_whole(_enter(api, "k-1"))
        # Reading waits for nobody.
        assert _names(api) == []
    other.dispose()

    assert impatient.state.settings.busy_timeout_s == 1
    assert _enter(api, "k-1").status_code == 201
    assert _names(api) == ["Coop k-1"]


@on_sqlite
def test_a_file_that_cannot_be_written_is_still_read(
    api: Api,
    engine: Engine,
    book_is_sound: Callable[[], None],
    caplog: pytest.LogCaptureFixture,
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")

    def seal(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA query_only = ON")

    def unseal(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA query_only = OFF")

    event.listen(engine, "checkout", seal)
    refused = _enter(api, "k-1")
    _refused_whole(refused)
    assert "The file of the book can only be read" in refused.json()["detail"]
    noted = [each for each in caplog.records if each.name == "jutebook.database"]
    assert [each.levelname for each in noted] == ["ERROR"]
    assert api.get("/lots/GL-1")["on_hand_kg"] == 60
    event.remove(engine, "checkout", seal)
    event.listen(engine, "checkout", unseal)

    assert _enter(api, "k-1").status_code == 201
    book_is_sound()


@on_sqlite
def test_readiness_says_that_a_file_can_only_be_read(
    api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Root may write whatever the permissions say; a disk of its own is beneath `tests.faults`.
    monkeypatch.setattr("app.shared.book_file._may_write", lambda _: False)

    unready = api.send("GET", "/readyz")

    _refused_whole(unready)
    assert "The file of the book can only be read" in unready.json()["detail"]


@on_sqlite
def test_a_file_on_a_disk_that_is_full_takes_nothing_and_then_everything(
    api: Api, engine: Engine, book_is_sound: Callable[[], None]
) -> None:
    """SQLITE_FULL, as the SQLite manual has it for a disk without room ("Result Codes")."""
    furnish(api)

    def fill(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA max_page_count = 1")

    def empty(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA max_page_count = 1000000")

    event.listen(engine, "checkout", fill)
    answers = [_enter(api, f"k-{number}") for number in range(60)]
    event.remove(engine, "checkout", fill)
    event.listen(engine, "checkout", empty)
    full = [number for number, each in enumerate(answers) if each.status_code != 201]

    assert full
    for number in full:
        _refused_whole(answers[number])
    for number in full:
        assert _enter(api, f"k-{number}").status_code == 201
    assert len(_names(api)) == 61
    book_is_sound()


@pytest.fixture
def visitor(service: FastAPI) -> Iterator[Visitor]:
    """Somebody who signed in at the pages."""
    with signed_in(service, "Noor", "admin") as somebody:
        yield somebody


@pytest.fixture
def book_file(engine: Engine, database_url: str) -> Path:
    """The file of the book, with nothing beside it and nobody who has it open."""
    engine.dispose()
    file = Path(str(make_url(database_url).database))
    for each in file.parent.glob(f"{file.name}-*"):
        each.unlink()
    return file


def _no_database(whole: bytes) -> bytes:
    return b"\0" * 4096 + whole[4096:]


def _no_whole_one(whole: bytes) -> bytes:
    """Overwrite everything behind the first page, which says what tables there are."""
    return whole[:4096] + b"\xa5" * (len(whole) - 4096)


@on_sqlite
@pytest.mark.parametrize("damage", [_no_database, _no_whole_one])
def test_a_book_whose_file_is_damaged_is_refused_and_not_written_over(
    api: Api,
    engine: Engine,
    book_file: Path,
    damage: Callable[[bytes], bytes],
    caplog: pytest.LogCaptureFixture,
) -> None:
    whole = book_file.read_bytes()
    book_file.write_bytes(damage(whole))
    damaged = book_file.read_bytes()

    for ask in (partial(_enter, api, "k-1"), partial(api.send, "GET", "/suppliers")):
        answer = ask()
        _refused_whole(answer)
        assert "The file of the book is damaged" in answer.json()["detail"]
        noted = [each for each in caplog.records if each.name == "jutebook.database"]
        assert [each.levelname for each in noted] == ["ERROR"]
        caplog.clear()
    _refused_whole(api.send("GET", "/readyz"))
    assert api.send("GET", "/healthz").status_code == 200
    assert book_file.read_bytes() == damaged
    engine.dispose()
    book_file.write_bytes(whole)
    assert _enter(api, "k-1").status_code == 201


@on_sqlite
@pytest.mark.parametrize("damage", [_no_database, _no_whole_one])
def test_whoever_is_at_the_pages_of_a_damaged_book_is_told_on_a_page(
    visitor: Visitor, engine: Engine, book_file: Path, damage: Callable[[bytes], bytes]
) -> None:
    whole = book_file.read_bytes()
    book_file.write_bytes(damage(whole))

    for answer in (visitor.get("/"), visitor.post("/adjust", {})):
        assert answer.status_code == 503
        assert answer.headers["content-type"].startswith("text/html")
        assert int(answer.headers["retry-after"]) > 0
        assert "The file of the book is damaged" in answer.text
    assert visitor.get("/nowhere").status_code == 404

    engine.dispose()
    book_file.write_bytes(whole)
    assert visitor.get("/").status_code == 200


@pytest.fixture
def own_server() -> Iterator[PostgresServer]:
    with PostgresServer(durable=True) as server:
        server.create_database("book")
        yield server


@pytest.fixture
def on_its_own(own_server: PostgresServer) -> Iterator[Api]:
    """The service on a server that is not shared with other tests."""
    service = create_app(Settings(database_url=own_server.url("book"), _env_file=None))
    migrate(service.state.engine)
    with writing(service.state.engine) as session:
        token = add_token(session, "Quill", [Role.ADMIN])
    api = Api(service, token)
    yield api
    api.close()
    service.state.engine.dispose()


def test_a_server_that_went_down_and_came_back_is_found_again(
    own_server: PostgresServer, on_its_own: Api
) -> None:
    api = on_its_own
    _enter(api, "before")

    for down in (own_server.crash, own_server.stop):
        down()
        _refused_whole(_enter(api, down.__name__))
        _refused_whole(api.send("GET", "/suppliers"))
        _refused_whole(api.send("GET", "/readyz"))
        assert api.send("GET", "/healthz").status_code == 200
        own_server.start()
        assert api.send("GET", "/readyz").status_code == 200
        assert _enter(api, down.__name__).status_code == 201

    assert _names(api) == ["Coop before", "Coop crash", "Coop stop"]


def test_nobody_is_told_of_a_server_that_was_gone_while_nobody_asked(
    own_server: PostgresServer, on_its_own: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter(range(1_000_000))
    monkeypatch.setattr("app.shared.db.monotonic", lambda: next(clock))  # a second each time
    _enter(on_its_own, "before")

    own_server.crash()
    own_server.start()

    assert _names(on_its_own) == ["Coop before"]


def test_neither_is_whoever_asks_right_after_it(
    own_server: PostgresServer, on_its_own: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.shared.db.monotonic", lambda: 0.0)
    _enter(on_its_own, "before")

    own_server.crash()
    own_server.start()

    assert _names(on_its_own) == ["Coop before"]
    assert _enter(on_its_own, "after").status_code == 201
