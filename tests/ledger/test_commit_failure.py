"""A commit that fails, and a server that is killed: what was answered as booked is booked."""

import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from queue import SimpleQueue
from typing import Any

import httpx
import pytest
from sqlalchemy import Connection, Engine, event, func, select, text
from sqlmodel import SQLModel

from app.shared.db import reading
from tests.api import Api, kg, problem
from tests.makers import PASSING
from tests.serving import ServiceProcess, Wire

Failing = Callable[[], AbstractContextManager[None]]


@pytest.fixture
def failing_commits(engine: Engine) -> Failing:
    """Let the database itself refuse every commit that wrote into the journal."""
    return lambda: (_on_postgresql if engine.dialect.name == "postgresql" else _on_sqlite)(engine)


@contextmanager
def _on_postgresql(engine: Engine) -> Iterator[None]:
    """Refuse in a constraint trigger that is deferred to the commit."""
    with engine.begin() as connection:
        connection.execute(text(
            "CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'the disk is gone'; END $$"
        ))  # fmt: skip
        connection.execute(text(
            "CREATE CONSTRAINT TRIGGER failing AFTER INSERT ON entry "
            "DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION fail()"
        ))  # fmt: skip
    yield
    with engine.begin() as connection:
        connection.execute(text("DROP FUNCTION fail() CASCADE"))


@contextmanager
def _on_sqlite(engine: Engine) -> Iterator[None]:
    """Leave a foreign key broken, which SQLite is told to look at only in the commit."""

    def break_a_key(connection: Connection) -> None:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        connection.exec_driver_sql(
            "INSERT INTO keyed_answer (entry_id, status, body) VALUES (999999, 201, 'never')"
        )

    event.listen(engine, "commit", break_a_key)
    yield
    event.remove(engine, "commit", break_a_key)


def everything(engine: Engine) -> dict[str, int]:
    """Count the rows of every table."""
    with reading(engine) as session:
        return {
            name: session.scalar(select(func.count()).select_from(SQLModel.metadata.tables[name]))
            or 0
            for name in sorted(SQLModel.metadata.tables)
        }


def draw(sack: str, grams: int = 1000) -> dict[str, Any]:
    """Ask for a roast out of one sack."""
    kilograms = kg(str(grams)).scaleb(-3)
    draws = [{"sack": sack, "kg": kilograms}]
    return {"machine": "DRUM-75", "draws": draws, "end_kg": kilograms} | PASSING


@pytest.mark.parametrize("keyed", [True, False])
def test_a_write_whose_commit_fails_is_no_success_and_can_be_sent_again(
    api: Api,
    sack: str,
    engine: Engine,
    failing_commits: Failing,
    keyed: bool,
) -> None:
    headers = {"Idempotency_Key": "scan-7"} if keyed else {}
    there = everything(engine)

    with failing_commits():
        failed = api.send("POST", "/roasts", draw(sack), **headers)

    refusal = problem(failed, 500, "internal")
    assert "disk" not in refusal["detail"]
    assert everything(engine) == there
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 10
    mended = api.send("POST", "/roasts", draw(sack), **headers)
    assert mended.status_code == 201
    assert "idempotency-replayed" not in mended.headers


@pytest.mark.usefixtures("sack")
@pytest.mark.parametrize(
    "asked",
    [
        ("POST", "/customers", {"name": "Café Süd"}),
        ("PATCH", "/customers/1", {"name": "Café West"}),
        ("POST", "/holds", {"units": ["GL-1"], "reason": "mould"}),
        ("POST", "/units/GL-1/void", {"reason": "wrong lorry"}),
        ("POST", "/moves", {"sacks": ["GL-1-1"], "to": "B-02"}),
        ("POST", "/readings", {"subject": "GL-1", "kind": "moisture", "value": 11}),
    ],
)
def test_no_kind_of_write_is_a_success_when_its_commit_fails(
    api: Api, engine: Engine, failing_commits: Failing, asked: tuple[str, str, dict[str, Any]]
) -> None:
    _receive_named(api)
    there = everything(engine)

    with failing_commits():
        failed = api.send(*asked, If_Match='"1"')

    problem(failed, 500, "internal")
    assert everything(engine) == there
    assert api.send(*asked, If_Match='"1"').status_code in {200, 201}


def _receive_named(api: Api) -> None:
    sacks = [{"code": "GL-1-1", "net_kg": 60}]
    lot = {"code": "GL-1", "name": "Sidama", "origin": "ET", "sacks": sacks}
    api.post(
        "/deliveries",
        {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": [lot]},
    )


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_lost_connection_is_a_503_and_books_nothing(api: Api, sack: str, engine: Engine) -> None:
    there = everything(engine)

    def cut(connection: Connection) -> None:
        connection.exec_driver_sql("SELECT pg_terminate_backend(pg_backend_pid())")

    event.listen(engine, "commit", cut)
    failed = api.send("POST", "/roasts", draw(sack))
    event.remove(engine, "commit", cut)

    problem(failed, 503, "busy")
    assert failed.headers["retry-after"]
    assert everything(engine) == there
    assert api.send("POST", "/roasts", draw(sack)).status_code == 201


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_full_disk_is_a_503_and_books_nothing(api: Api, sack: str, engine: Engine) -> None:
    there = everything(engine)
    note = "x" * 2000

    def leave_no_room(connection: Connection) -> None:
        # Pages already there can still be filled, so the request below needs new ones.
        connection.exec_driver_sql("PRAGMA max_page_count = 1")

    event.listen(engine, "begin", leave_no_room)
    asked = {"units": [sack], "reason": note}
    failed = [api.send("POST", "/holds", asked) for _ in range(20)][-1]
    event.remove(engine, "begin", leave_no_room)

    problem(failed, 503, "busy")
    assert everything(engine)["hold"] < there["hold"] + 20


class Round:
    """Draws from one sack on several threads until the server is gone."""

    def __init__(self, line: Wire, sack: str, number: int) -> None:
        self.answered: dict[str, httpx.Response] = {}
        self.sent: set[str] = set()
        self._line, self._sack, self._number = line, sack, number
        self._acknowledged: SimpleQueue[str] = SimpleQueue()
        self._threads = [threading.Thread(target=self._draw, args=(i,)) for i in range(3)]

    def run_until(self, acknowledged: int, kill: Callable[[], None]) -> None:
        """Kill the server as soon as so many draws were acknowledged."""
        for thread in self._threads:
            thread.start()
        for _ in range(acknowledged):
            self._acknowledged.get()
        kill()
        for thread in self._threads:
            thread.join()

    def _draw(self, writer: int) -> None:
        for count in range(10_000):
            key = f"{self._number}-{writer}-{count}"
            self.sent.add(key)
            try:
                answer = self._line.post("/roasts", draw(self._sack, 1), key=key)
            except httpx.TransportError:
                return
            self.answered[key] = answer
            self._acknowledged.put(key)


ROUNDS = 12


def test_what_a_killed_server_acknowledged_is_booked_and_the_rest_is_booked_on_retry(
    sack: str,
    engine: Engine,
    start_process: Callable[[], ServiceProcess],
    call: Callable[[ServiceProcess], Wire],
) -> None:
    answered: dict[str, httpx.Response] = {}
    sent: set[str] = set()
    there = everything(engine)["roast"]
    server = start_process()
    for number in range(ROUNDS):
        this = Round(call(server), sack, number)
        this.run_until(1 + number % 4, server.kill)
        answered |= this.answered
        sent |= this.sent
        server = start_process()
    line = call(server)

    replays = {key: line.post("/roasts", draw(sack, 1), key=key) for key in sorted(sent)}

    assert {answer.status_code for answer in replays.values()} == {201}
    for key, first in answered.items():
        assert first.status_code == 201
        assert replays[key].headers["idempotency-replayed"] == "true"
        assert replays[key].content == first.content
    assert everything(engine)["roast"] - there == len(sent)
    assert line.get(f"/sacks/{sack}")["on_hand_kg"] == 10 - kg(str(len(sent))).scaleb(-3)
