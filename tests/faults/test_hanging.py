"""A PostgreSQL that hangs: nothing is cut, as where a network swallows packets, nothing answers.

Every process of the server is stopped (SIGSTOP) and goes on later (SIGCONT); the service is the
same one before, meanwhile and after.
"""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, ExitStack, contextmanager
from queue import Queue
from time import monotonic

import httpx
import pytest
from sqlalchemy import Engine, event, text
from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from app.ledger import replica
from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.answers import read_json, to_json
from app.shared.db import open_engine, reading, writing
from app.shared.patience import opens, was_silent
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import problem
from tests.faults.pair import Pair
from tests.postgres import PostgresServer
from tests.serving import served


class Client:
    """Somebody signed in over the network who may ask for several things at once."""

    def __init__(self, address: str, token: str) -> None:
        self._http = httpx.Client(
            base_url=address, headers={"Authorization": f"Bearer {token}"}, timeout=100,
            trust_env=False,
        )  # fmt: skip
        self._threads = ThreadPoolExecutor(10)

    def ask(self, path: str) -> Future[httpx.Response]:
        return self._threads.submit(self._http.get, path)

    def enter(self, name: str) -> Future[httpx.Response]:
        return self._threads.submit(
            self._http.post, "/api/v1/suppliers", content=to_json({"name": name}),
            headers={"Content-Type": "application/json", "Idempotency-Key": name},
        )  # fmt: skip

    def names(self) -> list[str]:
        answer = self.ask("/api/v1/suppliers").result()
        assert answer.status_code == 200, answer.text
        return [each["name"] for each in read_json(answer.content)["items"]]

    def close(self) -> None:
        self._threads.shutdown()
        self._http.close()


@contextmanager
def client(settings: Settings, token: str) -> Iterator[Client]:
    """Serve, and ask a few things at once, so that connections are open and were just used."""
    with served(create_app(settings)) as address:
        somebody = Client(address, token)
        try:
            assert somebody.enter("before").result().status_code == 201
            for each in [somebody.ask("/api/v1/suppliers") for _ in range(6)]:
                assert each.result().status_code == 200
            yield somebody
        finally:
            somebody.close()


@pytest.fixture
def own_server() -> Iterator[PostgresServer]:
    with PostgresServer(durable=True) as server:
        server.create_database("book")
        yield server


def test_a_slow_statement_is_waited_for_and_a_silent_server_is_not(
    own_server: PostgresServer,
) -> None:
    engine = open_engine(
        own_server.url("book"), statement_timeout_s=3, busy_timeout_s=1, gone_after_s=1
    )
    slow = "SELECT 1 FROM pg_sleep(1.5)"
    with engine.connect() as connection:
        answered = connection.scalar(text(slow))
        with own_server.hanging(), pytest.raises(OperationalError) as given_up:
            connection.execute(text(slow))
    with engine.connect() as connection:
        again = connection.scalar(text(slow))
    engine.dispose()

    assert answered == 1
    assert was_silent(given_up.value)
    assert given_up.value.connection_invalidated
    assert again == 1


def _refused(asked: Future[httpx.Response]) -> None:
    answer = asked.result()
    problem(answer, 503, "busy")
    assert int(answer.headers["retry-after"]) > 0


def test_a_server_that_hangs_is_given_up_and_found_again(
    own_server: PostgresServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.main.GONE_AFTER_S", 1)
    settings = Settings(
        database_url=own_server.url("book"), statement_seconds=2, busy_timeout_s=1, _env_file=None
    )
    prepared = create_app(settings).state.engine
    migrate(prepared)
    with writing(prepared) as session:
        token = add_token(session, "Quill", [Role.ADMIN])
    prepared.dispose()

    with client(settings, token) as somebody:
        with own_server.hanging():
            asked = [somebody.ask("/api/v1/suppliers"), somebody.enter("meanwhile")]
            asked += [somebody.ask("/api/v1/suppliers"), somebody.ask("/readyz")]
            alive = somebody.ask("/healthz").result()
            counted = somebody.ask("/metrics").result()
            for each in asked:
                _refused(each)
        ready = somebody.ask("/readyz").result()
        again = somebody.enter("meanwhile").result()
        names = somebody.names()

    assert alive.status_code == 200
    assert "jutebook_database_up 0.0" in counted.text
    assert ready.status_code == 200
    assert again.status_code == 201
    assert names == ["before", "meanwhile"]


@pytest.fixture
def knocks(monkeypatch: pytest.MonkeyPatch) -> Queue[bool]:
    """Let servers be looked after often, and note whether they opened."""
    noted: Queue[bool] = Queue()

    def knock(host: str, port: int, patience_s: float) -> bool:
        opened = opens(host, port, patience_s)
        noted.put(opened)
        return opened

    monkeypatch.setattr("app.shared.patience._KNOCK_EVERY_S", 0.2)
    monkeypatch.setattr("app.shared.patience.opens", knock)
    return noted


def test_a_server_that_hangs_in_the_middle_of_a_statement_is_not_waited_for(
    own_server: PostgresServer, knocks: Queue[bool]
) -> None:
    # As a service is set by default: two minutes for a statement.
    engine = open_engine(own_server.url("book"), statement_timeout_s=120, gone_after_s=1)
    with engine.connect() as connection, ThreadPoolExecutor(1) as threads:
        asked = threads.submit(connection.execute, text("SELECT pg_sleep(100)"))
        opened = [knocks.get(timeout=60) for _ in range(2)]
        waited_for = not asked.done()
        with own_server.hanging():
            given_up = asked.exception()
    engine.dispose()

    assert opened == [True, True]
    assert waited_for
    assert isinstance(given_up, OperationalError)
    assert was_silent(given_up)
    assert given_up.connection_invalidated


def test_where_nobody_listens_nobody_opens(own_server: PostgresServer) -> None:
    with own_server.as_superuser() as connection:
        folder, port = connection.info.host, connection.info.port
    there = [opens(host, port, 5) for host in ("127.0.0.1", folder)]
    own_server.stop()
    gone = [opens(host, port, 5) for host in ("127.0.0.1", folder)]

    assert there == [True, True]
    assert gone == [False, False]


@pytest.fixture(scope="module")
def pair() -> Iterator[Pair]:
    with ExitStack() as stack:
        yield Pair(stack)


def test_for_a_standby_that_hangs_the_database_answers(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    ahead_s = 0.0

    def noted(engine: Engine) -> AbstractContextManager[Session]:
        asked.append(engine.url.render_as_string())
        return reading(engine)

    monkeypatch.setattr("app.ledger.replica.reading", noted)
    monkeypatch.setattr("app.ledger.replica.monotonic", lambda: monotonic() + ahead_s)
    standby = pair.settings.read_database_url

    with client(pair.settings, pair.token) as somebody:
        with pair.standby.hanging():
            waiting = [somebody.ask("/api/v1/suppliers") for _ in range(3)]
            entered = somebody.enter("meanwhile")
            doors = [somebody.ask(door) for door in ("/healthz", "/readyz")]
            told = somebody.ask("/metrics").result()
            statuses = [each.result().status_code for each in (*waiting, entered, *doors)]
            names = somebody.names()
            asked.clear()
            assert somebody.names() == names
            left_alone = standby not in asked
        ahead_s = replica.REST_S + 1
        asked.clear()
        assert somebody.names() == names
        asked_again = standby in asked
        told_after = somebody.ask("/metrics").result()

    assert statuses == [200, 200, 200, 201, 200, 200]
    assert "meanwhile" in names
    assert "jutebook_replica_up 0.0" in told.text
    assert left_alone
    assert asked_again
    assert "jutebook_replica_up 1.0" in told_after.text


_LOCK = 7
_SLOW = f"FROM supplier CROSS JOIN pg_advisory_xact_lock_shared({_LOCK})"
"""Waits until the test lets go; such a lock is the standby's own."""


@pytest.mark.parametrize("hangs", [False, True], ids=["goes on", "hangs"])
def test_a_long_read_is_waited_for_unless_the_standby_hangs_in_the_middle_of_it(
    pair: Pair, knocks: Queue[bool], *, hangs: bool
) -> None:
    service = create_app(pair.settings)
    primary: list[str] = []

    @event.listens_for(service.state.engine, "before_cursor_execute")
    def _note(_c: object, _k: object, statement: str, *_: object) -> None:
        if "FROM supplier" in statement:
            primary.append(statement)

    @event.listens_for(service.state.read_engine, "before_cursor_execute", retval=True)
    def _wait(
        _c: object, _k: object, statement: str, parameters: object, *_: object
    ) -> tuple[str, object]:
        return statement.replace("FROM supplier", _SLOW), parameters

    with served(service) as address, pair.standby.as_superuser("book") as held:
        somebody = Client(address, pair.token)
        held.execute("SELECT pg_advisory_lock(%s)", [_LOCK])
        asked = somebody.ask("/api/v1/suppliers")
        opened = [knocks.get(timeout=60) for _ in range(2)]
        waited_for = not asked.done() and not primary
        if hangs:
            with pair.standby.hanging():
                answer = asked.result()
        else:
            held.execute("SELECT pg_advisory_unlock(%s)", [_LOCK])
            answer = asked.result()
        somebody.close()

    assert opened == [True, True]
    assert waited_for
    assert answer.status_code == 200, answer.text
    assert bool(primary) is hangs


def test_for_a_database_that_hangs_the_standby_answers_even_one_that_hung(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def noted(engine: Engine) -> AbstractContextManager[Session]:
        asked.append(engine.url.render_as_string())
        return reading(engine)

    monkeypatch.setattr("app.main.GONE_AFTER_S", 1)
    monkeypatch.setattr("app.ledger.replica.reading", noted)
    impatient = pair.settings.model_copy(update={"statement_seconds": 2, "busy_timeout_s": 1})

    with client(impatient, pair.token) as somebody:
        with pair.standby.hanging():
            somebody.names()
        with pair.primary.hanging():
            entered = somebody.enter("later")
            ready = somebody.ask("/readyz")
            names = somebody.names()
            alive = somebody.ask("/healthz").result()
            _refused(entered)
            _refused(ready)
            asked.clear()
            assert somebody.names() == names
            left_alone = pair.settings.database_url not in asked
            told = somebody.ask("/metrics").result()
        again = somebody.enter("later").result()
        after = somebody.names()

    assert "before" in names
    assert "later" not in names
    assert left_alone
    assert "jutebook_database_up 0.0" in told.text
    assert "jutebook_replica_up 1.0" in told.text
    assert alive.status_code == 200
    assert again.status_code == 201
    assert "later" in after
