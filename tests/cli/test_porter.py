"""The porter: numbers, notes, counts, limits, and what every answer says to browsers."""

import json
import logging
import re
import socket
import threading
from asyncio import Transport
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from time import time
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi import FastAPI, Request
from sqlalchemy import Engine, func, select, text
from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from app.connections import Connection
from app.ledger.clerk import Clerk
from app.logs import set_up
from app.main import create_app
from app.settings import Settings
from app.shared.db import open_engine, reading, writing
from app.shared.sign_in import TokenCounts, add_token, identify, revoke_tokens
from app.shared.staff import Role
from app.shared.threads import in_a_thread
from tests.api import Api, problem
from tests.cli.conftest import Jutebook
from tests.figures import figures
from tests.makers import furnish, receive
from tests.serving import Wire, served

A_NUMBER = re.compile(r"[0-9a-f]{16}")


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    """A service in which looking at suppliers is a mistake of ours."""

    def fail(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("app.ledger.clerk.Clerk.read", fail)


def test_every_answer_carries_a_number_and_that_of_a_proxy_is_kept(api: Api) -> None:
    for path in ("/lots", "/no-such-path", "/healthz", "/lots/NONE"):
        assert A_NUMBER.fullmatch(api.send("GET", path).headers["x-request-id"])
    assert api.send("GET", "/lots", X_Request_Id="proxy-7.a_b").headers["x-request-id"] == (
        "proxy-7.a_b"
    )
    for bad in ("a b", "x" * 65, "a\tb", "<script>", ""):
        assert A_NUMBER.fullmatch(
            api.send("GET", "/lots", X_Request_Id=bad).headers["x-request-id"]
        )


@pytest.mark.usefixtures("broken")
def test_what_breaks_is_found_in_the_log_by_the_number_that_was_answered(
    api: Api, caplog: pytest.LogCaptureFixture
) -> None:
    answer = api.send("GET", "/suppliers")

    document = problem(answer, 500, "internal")
    number = answer.headers["x-request-id"]
    assert document["request"] == number
    assert number in document["detail"]
    noted = [each for each in caplog.records if each.name == "jutebook.requests"]
    assert noted[-1].exc_info is not None
    assert noted[-1].levelno == logging.ERROR


def test_a_line_of_the_log_tells_who_did_what_and_holds_no_secret_and_no_search(
    api: Api, capsys: pytest.CaptureFixture[str]
) -> None:
    token = api._client.headers["authorization"].removeprefix("Bearer ")
    kept = {name: logging.getLogger(name).handlers[:] for name in ("jutebook", "uvicorn")}
    set_up("json")
    try:
        api.get("/suppliers?name=Anna%20Muster")
        api.send("GET", "/lots/%0a%1b[31m")
    finally:
        for name, handlers in kept.items():
            logging.getLogger(name).handlers = handlers
            logging.getLogger(name).propagate = True
    lines = capsys.readouterr().err.splitlines()

    first, second = (json.loads(line) for line in lines)
    assert first | {"request": "", "at": "", "ms": 0} == {
        "at": "", "level": "INFO", "name": "jutebook.requests", "request": "", "ms": 0,
        "message": "GET /api/v1/suppliers 200", "method": "GET", "operation": "list_suppliers",
        "status": 200, "who": "admin",
    }  # fmt: skip
    assert A_NUMBER.fullmatch(first["request"])
    assert second["message"].startswith(r"GET /api/v1/lots/\n\x1b[31m ")
    assert token not in "".join(lines)
    assert "Muster" not in "".join(lines)


def test_metrics_tell_requests_entries_and_the_age_of_the_last_check_and_backup(
    api: Api, jutebook: Jutebook
) -> None:
    before = figures(api)
    furnish(api)
    receive(api, 60, lot="GL-1")
    api.send("GET", "/lots/GL-1")
    api.send("GET", "/lots/NONE")
    api.send("BREW", "/lots")
    unchecked = figures(api)
    assert jutebook("check").exit_code == jutebook("backup", "book.backup").exit_code == 0
    checked = figures(api)

    def of(operation: str, status: int) -> str:
        labels = [("method", "GET"), ("operation", operation), ("status", str(status))]
        return f"jutebook_requests_total{labels}"

    for status in (200, 404):
        name = of("show_lot", status)
        assert unchecked[name] - before.get(name, 0) == 1
    assert any("'other'" in name for name in unchecked)
    assert not any("BREW" in name for name in unchecked)
    assert unchecked["jutebook_database_up[]"] == 1
    assert unchecked["jutebook_entries[]"] == len(api.get("/entries?limit=100")["items"])
    assert "jutebook_check_age_seconds[]" not in unchecked
    assert 0 <= checked["jutebook_check_age_seconds[]"] < 3600
    assert checked["jutebook_check_entries[]"] == checked["jutebook_entries[]"]
    assert checked["jutebook_check_differences[]"] == 0
    assert "jutebook_backup_age_seconds[]" not in unchecked
    assert 0 <= checked["jutebook_backup_age_seconds[]"] < 3600
    assert checked["jutebook_backup_entries[]"] == checked["jutebook_entries[]"]


def test_metrics_tell_when_the_database_is_gone() -> None:
    settings = Settings(database_url="postgresql://nobody@127.0.0.1:1/none", _env_file=None)
    api = Api(create_app(settings), None)

    assert figures(api)["jutebook_database_up[]"] == 0
    assert problem(api.send("GET", "/readyz"), 503, "busy")["detail"] == (
        "The database is out of reach."
    )
    api.close()


def test_what_browsers_are_told_about_any_answer(api: Api) -> None:
    for path in ("/lots", "/no-such-path", "/metrics", "/problems/busy", "/api/openapi.json"):
        headers = api.send("GET", path).headers
        assert headers["x-content-type-options"] == "nosniff", path
        assert headers["x-frame-options"] == "DENY", path
        assert headers["referrer-policy"] == "same-origin", path
        assert "frame-ancestors 'none'" in headers["content-security-policy"], path
        assert "default-src 'none'" in headers["content-security-policy"], path
        assert "access-control-allow-origin" not in headers, path
        assert "strict-transport-security" not in headers, "only where the connection is safe"
        assert "server" not in headers, path
    assert api.send("GET", "/lots").headers["cache-control"] == "no-store"
    assert (
        "frame-ancestors 'none'" in api.send("GET", "/api/docs").headers["content-security-policy"]
    )


def test_a_body_beyond_the_limit_is_refused_and_books_nothing(api: Api) -> None:
    name = "x" * 10_000_000

    answer = api.send("POST", "/suppliers", {"name": name})

    assert problem(answer, 413, "too-large")["detail"].endswith("at most 10000000 bytes.")
    assert api.get("/suppliers")["items"] == []


FORM = b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n"
JSON = b"POST /api/v1/suppliers HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
BODIES = pytest.mark.parametrize("head", [FORM, JSON], ids=["form", "json"])


def _sent(address: str, *parts: bytes) -> bytes:
    """Send the beginning of a request and wait for what is said to it."""
    with _line(address) as line:
        for part in parts:
            line.sendall(part)
        return line.recv(100_000)


@BODIES
def test_a_body_that_does_not_come_ends_the_request(
    service: FastAPI, settings: Settings, head: bytes
) -> None:
    service.state.settings = settings.model_copy(update={"body_seconds": 1})
    with served(service) as address:
        answer = _sent(address, head, b"Content-Length: 900\r\n\r\n", b"name=")

    assert answer.startswith(b"HTTP/1.1 408 ")


CHUNKED = b"Transfer-Encoding: chunked\r\n\r\n"
MUCH = b"%x\r\n%b\r\n" % (10_000_000, b"x" * 10_000_000)
"""More than may come, and no end of it."""


def test_a_body_beyond_the_limit_is_refused_before_its_end_comes(
    service: FastAPI, settings: Settings
) -> None:
    service.state.settings = settings.model_copy(update={"body_largest_bytes": 10_000})
    with writing(service.state.engine) as session:
        token = add_token(session, "scanner", [Role.WAREHOUSE])
    known = b"Authorization: Bearer %b\r\n" % token.encode()
    with served(service) as address:
        form = _sent(address, FORM, CHUNKED, MUCH)
        document = _sent(address, JSON, known, CHUNKED, MUCH)

    assert form.startswith(b"HTTP/1.1 413 ")
    assert document.startswith(b"HTTP/1.1 413 ")


def test_of_somebody_unknown_no_body_is_looked_through(service: FastAPI) -> None:
    nobody = Api(service, None)

    for body in (b"{nope", b"[" * 60_000, b"{}"):
        problem(nobody.send("POST", "/suppliers", body), 401, "unauthorized")
    nobody.close()


def test_a_name_that_stands_twice_among_many_is_found_in_one_pass(api: Api) -> None:
    # One look at all of them for each would take minutes.
    members = b",".join(b'"a%07d":0' % number for number in range(100_000))

    refused = problem(
        api.send("POST", "/suppliers", b"{" + members + b',"a0099999":1}'), 422, "invalid"
    )

    assert "stands twice" in str(refused) or "names" in str(refused)


def test_a_token_that_was_revoked_while_a_body_came_books_nothing(
    service: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = threading.Event()

    async def ask(request: Request) -> object:
        staff = await in_a_thread(identify)(request)
        asked.set()
        return staff

    monkeypatch.setattr("app.shared.routing.find_out", ask)
    engine = service.state.engine
    with writing(engine) as session:
        token = add_token(session, "scanner", [Role.WAREHOUSE])
    known = b"Authorization: Bearer %b\r\n" % token.encode()
    body = b'{"name": "Coop"}' + b" " * 70_000
    length = b"Content-Length: %d\r\n\r\n" % len(body)
    with served(service) as address, _line(address) as line:
        line.sendall(JSON + known + length + body[:-1])
        assert asked.wait(60)
        with writing(engine) as session:
            revoke_tokens(session, "scanner")
        line.sendall(body[-1:])
        answer = line.recv(100_000)

    assert answer.startswith(b"HTTP/1.1 401 ")


@pytest.mark.parametrize(
    "length",
    [
        b"Content-Length: 70000\r\n\r\n",
        b"Content-Length: 000000000200000\r\n\r\n",
        CHUNKED,
    ],
)
def test_of_somebody_unknown_no_large_body_is_waited_for(service: FastAPI, length: bytes) -> None:
    with served(service) as address:
        answer = _sent(address, JSON, length)

    assert answer.startswith(b"HTTP/1.1 401 ")


def _noted(caplog: pytest.LogCaptureFixture) -> list[logging.LogRecord]:
    return [each for each in caplog.records if each.name == "jutebook.requests"]


@BODIES
def test_whoever_leaves_while_a_body_comes_is_no_fault_of_ours(
    service: FastAPI, head: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "jutebook.requests")
    with served(service) as address:
        with _line(address) as line:
            line.sendall(head + b"Content-Length: 900\r\n\r\nname=")
        _until(lambda: bool(_noted(caplog)))

    (noted,) = _noted(caplog)
    assert (noted.levelname, noted.status) == ("INFO", 400)  # type: ignore[attr-defined]
    assert noted.exc_info is None


def test_a_token_is_counted_once_for_a_request_however_its_body_comes(
    service: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    stands = SimpleNamespace(time=lambda: time() // 60 * 60 + 30)
    monkeypatch.setattr("limits.storage.memory.time", stands)
    service.state.token_counts = TokenCounts(3)
    with writing(service.state.engine) as session:
        token = add_token(session, "scanner", [Role.WAREHOUSE])
    known = b"Authorization: Bearer %b\r\n" % token.encode()
    scan = JSON.replace(b"/suppliers", b"/scans")

    with served(service) as address:
        answers = [
            _sent(address, scan, known, CHUNKED, b'f\r\n{"text": "X 1"}\r\n0\r\n\r\n')
            for _ in range(4)
        ]

    assert [answer.split()[1] for answer in answers] == [b"200", b"200", b"200", b"429"]


def test_a_token_is_answered_so_often_a_minute(
    service: FastAPI, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The window slides with the minutes of the clock: the counter's stands in the midst of one.
    stands = SimpleNamespace(time=lambda: time() // 60 * 60 + 30)
    monkeypatch.setattr("limits.storage.memory.time", stands)
    service.state.token_counts = TokenCounts(3)
    with writing(service.state.engine) as session:
        busy, calm = (add_token(session, name, [Role.WAREHOUSE]) for name in ("busy", "calm"))
    one, other = Api(service, busy), Api(service, calm)

    statuses = [one.send("GET", "/lots").status_code for _ in range(5)]
    refused = one.send("GET", "/lots")

    assert statuses == [200, 200, 200, 429, 429]
    assert refused.headers["retry-after"] == "60"
    assert problem(refused, 429, "too-many-requests")
    assert other.send("GET", "/lots").status_code == 200
    assert settings.token_requests_a_minute > 3
    one.close()
    other.close()


def test_more_requests_than_may_wait_are_told_to_come_again(
    settings: Settings, engine: Engine, api: Api
) -> None:
    token = api._client.headers["authorization"].removeprefix("Bearer ")
    crowded = create_app(settings.model_copy(update={"at_once": 2, "threads": 2}))
    with served(crowded) as address, writing(engine):
        # While somebody else holds the pen, two writes wait for it.
        waiting = [
            threading.Thread(target=_enter, args=(address, token, number)) for number in range(2)
        ]
        for each in waiting:
            each.start()
        _until(lambda: _get(address, "/readyz") == 503)
        alive = _get(address, "/healthz")
    with suppress(RuntimeError):
        for each in waiting:
            each.join()

    assert alive == 200
    assert len(api.get("/suppliers")["items"]) <= 2


def test_alive_is_answered_while_every_thread_waits(
    settings: Settings, api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    token = api._client.headers["authorization"].removeprefix("Bearer ")
    read, inside, go_on = Clerk.read, threading.Event(), threading.Event()

    def wait(*args: Any, **kwargs: Any) -> Any:
        inside.set()
        assert go_on.wait(60)
        return read(*args, **kwargs)

    monkeypatch.setattr(Clerk, "read", wait)
    narrow = create_app(settings.model_copy(update={"threads": 1}))
    with served(narrow) as address, ThreadPoolExecutor(1) as pool, Wire(address, token) as wire:
        asked = pool.submit(wire.ask, "/suppliers")
        assert inside.wait(60)
        alive = _get(address, "/healthz")
        waits = not asked.done()
        go_on.set()
        answer = asked.result()

    assert alive == 200
    assert waits
    assert answer.status_code == 200


def test_a_statement_that_takes_too_long_is_broken_off(database_url: str) -> None:
    engine = open_engine(database_url, statement_timeout_s=1)
    endless = text(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) FROM n"
    )
    try:
        with pytest.raises(OperationalError) as broken_off, reading(engine) as session:
            session.execute(endless)
        # And the connection serves on.
        with reading(engine) as session:
            assert _one(session) == 1
    finally:
        engine.dispose()

    assert "interrupted" in str(broken_off.value) or "QueryCanceled" in str(broken_off.value)


def _one(session: Session) -> int:
    return session.scalar(select(func.coalesce(1, 0))) or 0


def _enter(address: str, token: str, number: int) -> None:
    from tests.serving import Wire  # noqa: PLC0415

    with Wire(address, token) as wire:
        wire.post("/suppliers", {"name": f"S {number}"})


def _get(address: str, path: str) -> int:
    import httpx  # noqa: PLC0415

    return httpx.get(f"{address}{path}", trust_env=False, timeout=60).status_code


def _until(so: Callable[[], bool]) -> None:
    while not so():
        pass


def _line(address: str) -> socket.socket:
    """Open a connection whose client takes little at a time."""
    host, port = address.removeprefix("http://").split(":")
    line = socket.socket()
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    line.settimeout(60)
    line.connect((host, int(port)))
    return line


def _ends(line: socket.socket) -> bool:
    """Wait until the other side lets go; what it says before is thrown away."""
    with suppress(ConnectionResetError):
        while line.recv(100_000):
            pass
    return True


@pytest.mark.parametrize(
    "head", [b"", b"GET /healthz HT", b"GET /healthz HTTP/1.1\r\nHost: x\r\nA"]
)
def test_a_connection_whose_head_does_not_come_is_let_go(
    service: FastAPI, monkeypatch: pytest.MonkeyPatch, head: bytes
) -> None:
    monkeypatch.setattr("app.connections.LOOKS_EVERY_S", 0.2)
    with served(service) as address, _line(address) as line:
        line.sendall(head)

        assert _ends(line)
        assert _get(address, "/healthz") == 200


def test_a_head_that_has_no_end_is_refused_before_it_fills_the_memory(service: FastAPI) -> None:
    some = b"X-More: " + b"x" * 10_000 + b"\r\n"
    with served(service) as address, _line(address) as line:
        line.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n")
        with suppress(ConnectionResetError, BrokenPipeError):
            for _ in range(10_000):  # 100 MB
                line.sendall(some)
            raise AssertionError("all of it was taken")
        assert _get(address, "/healthz") == 200


BUNDLE = b"GET /api/docs-files/swagger-ui-bundle.js HTTP/1.1\r\nHost: x\r\n\r\n"


@pytest.fixture
def connections(monkeypatch: pytest.MonkeyPatch) -> list[Connection]:
    """The connections of a test as they are made, at which nobody looks but the test."""
    made: list[Connection] = []
    make = Connection.connection_made

    def note(connection: Connection, transport: Transport) -> None:
        made.append(connection)
        make(connection, transport)

    monkeypatch.setattr("app.connections.LOOKS_EVERY_S", 3600)
    monkeypatch.setattr(Connection, "connection_made", note)
    return made


def _look(connection: Connection) -> None:
    connection.loop.call_soon_threadsafe(connection._look_at)


def _in_progress(address: str) -> int:
    """Count the requests that are worked on, this question among them."""
    import httpx  # noqa: PLC0415

    told = httpx.get(f"{address}/metrics", trust_env=False, timeout=60).text
    counted = re.findall(r"^jutebook_requests_in_progress (\S+)", told, re.MULTILINE)
    return int(float(counted[0]))


def test_whoever_takes_nothing_of_an_answer_holds_no_place(
    service: FastAPI, connections: list[Connection]
) -> None:
    def looked_at() -> bool:
        _look(connections[0])
        return _in_progress(address) == 1

    with served(service) as address, _line(address) as line:
        line.sendall(BUNDLE * 12)
        came = len(line.recv(100))
        _until(looked_at)
        with suppress(ConnectionResetError):
            while some := line.recv(100_000):
                came += len(some)

    assert came < 12 * 1_000_000, "the rest was thrown away"


def test_a_long_answer_is_taken_as_slowly_as_its_client_likes(
    settings: Settings, connections: list[Connection]
) -> None:
    with served(create_app(settings)) as address, _line(address) as line:
        line.sendall(BUNDLE)
        came = line.recv(100_000)
        length = int(re.search(rb"content-length: (\d+)", came).group(1))  # type: ignore[union-attr]
        came = came.partition(b"\r\n\r\n")[2]
        while len(came) < length and (some := line.recv(20_000)):
            if len(came) // 300_000 < len(came + some) // 300_000:
                _look(connections[0])
            came += some

    assert len(came) == length > 500_000
