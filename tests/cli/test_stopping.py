"""A stop lets nobody in any more and answers whoever came before it; by one process or several."""

import os
import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPConnection
from pathlib import Path
from subprocess import Popen

import httpx
import pytest
from sqlalchemy import Engine

from app.shared.db import writing
from tests.api import Api
from tests.cli.processes import started
from tests.serving import PATIENCE_S, all_of, line_to


def test_a_write_that_waits_when_the_service_is_told_to_stop_is_booked_and_answered(
    api: Api, engine: Engine, database_url: str
) -> None:
    with started(JUTEBOOK_DATABASE_URL=database_url) as (process, address):
        answer = _stopped_while_a_write_waits(process, address, api, engine)
        ended_with = process.wait(timeout=PATIENCE_S)

    assert answer.startswith(b"HTTP/1.1 201 ")
    assert ended_with == 0
    assert [each["name"] for each in api.get("/suppliers")["items"]] == ["Finca El Roble"]
    with pytest.raises(ConnectionRefusedError):
        line_to(address)


def test_each_of_several_processes_answers_is_counted_and_ends_as_one_would(
    api: Api, engine: Engine, database_url: str
) -> None:
    settings = {"JUTEBOOK_DATABASE_URL": database_url, "JUTEBOOK_WORKERS": "2"}
    with started(**settings) as (process, address):
        _until(lambda: len(_workers(process.pid)) == 2)
        one, other = _workers(process.pid)
        with _halted(one):
            by_the_other = [_status(address) for _ in range(7)]
        with _halted(other):
            by_the_one = [_status(address) for _ in range(5)]
        # An answer is counted a moment after its last byte went out.
        _until(lambda: _asked_whether_alive(address) >= 12)
        counted = _asked_whether_alive(address)
        answer = _stopped_while_a_write_waits(process, address, api, engine)
        ended_with = process.wait(timeout=PATIENCE_S)

    assert by_the_other + by_the_one == [200] * 12
    assert counted == 12
    assert answer.startswith(b"HTTP/1.1 201 ")
    assert ended_with == 0
    assert [each["name"] for each in api.get("/suppliers")["items"]] == ["Finca El Roble"]
    with pytest.raises(ConnectionRefusedError):
        line_to(address)


@pytest.mark.usefixtures("engine")
def test_processes_whose_parent_was_killed_end_by_themselves_and_leave_the_door(
    database_url: str,
) -> None:
    settings = {"JUTEBOOK_DATABASE_URL": database_url, "JUTEBOOK_WORKERS": "2"}
    with started(**settings) as (process, address):
        _until(lambda: len(_workers(process.pid)) == 2)
        workers = _workers(process.pid)
        answered = _status(address)
        process.kill()
        process.wait(timeout=PATIENCE_S)
        _wait_until_refused(address)
        _until(lambda: all(_has_ended(worker) for worker in workers))

    assert answered == 200


@pytest.mark.usefixtures("engine")
def test_where_one_of_several_processes_cannot_start_all_end_and_it_is_said_why(
    database_url: str, desk: Path
) -> None:
    settings = {"JUTEBOOK_DATABASE_URL": database_url, "JUTEBOOK_WORKERS": "2"}
    notes = desk / "notes"
    with notes.open("w") as noted, started(noted, **settings) as (process, address):
        _until(lambda: len(_workers(process.pid)) == 2)
        workers = _workers(process.pid)
        (desk / ".env").write_text("JUTEBOOK_THREADS=many\n")
        os.kill(workers[0], signal.SIGKILL)
        ended_with = process.wait(timeout=PATIENCE_S)
        _until(lambda: all(_has_ended(worker) for worker in workers))

    *why, last = notes.read_text().splitlines()
    assert ended_with == 1
    assert any("jutebook: The setting JUTEBOOK_THREADS cannot be used" in line for line in why)
    assert last == ("jutebook: One of the processes could not start; the reason stands above.")
    with pytest.raises(ConnectionRefusedError):
        line_to(address)


def _stopped_while_a_write_waits(
    process: Popen[str], address: str, api: Api, engine: Engine
) -> bytes:
    """Hold the pen until a write waits for it and nobody is let in any more; read its answer."""
    with line_to(address) as line:
        with writing(engine):
            line.sendall(_a_supplier(api, "Finca El Roble"))
            with _kept(address) as onlooker:
                _until(lambda: _in_progress(onlooker) == 2)
                process.send_signal(signal.SIGTERM)
                assert onlooker.sock.recv(1) == b"", "on that line nothing is left to answer"
            _wait_until_refused(address)
        return all_of(line)


def _a_supplier(api: Api, name: str) -> bytes:
    known = str(api._client.headers["authorization"])
    body = f'{{"name": "{name}"}}'
    head = (
        "POST /api/v1/suppliers HTTP/1.1", "Host: x", "Content-Type: application/json",
        f"Authorization: {known}", f"Content-Length: {len(body)}",
    )  # fmt: skip
    return "\r\n".join([*head, "", body]).encode()


@contextmanager
def _kept(address: str) -> Iterator[HTTPConnection]:
    """Keep one line for several questions: whoever answers them has ended the one before."""
    line = HTTPConnection(address.removeprefix("http://"), timeout=PATIENCE_S)
    try:
        yield line
    finally:
        line.close()


def _in_progress(line: HTTPConnection) -> int:
    """Count the requests that are worked on, this question among them."""
    line.request("GET", "/metrics")
    told = line.getresponse().read().decode()
    counted = re.findall(r"^jutebook_requests_in_progress (\S+)", told, re.MULTILINE)
    return int(float(counted[0]))


def _until(so: Callable[[], bool]) -> None:
    while not so():
        pass


def _wait_until_refused(address: str) -> None:
    """Come in, be let go, and come again, until nobody opens."""
    with suppress(ConnectionRefusedError):
        while True:
            with line_to(address) as line:
                all_of(line)


def _status(address: str) -> int:
    return httpx.get(f"{address}/healthz", trust_env=False, timeout=PATIENCE_S).status_code


def _asked_whether_alive(address: str) -> int:
    told = httpx.get(f"{address}/metrics", trust_env=False, timeout=PATIENCE_S).text
    counted = re.findall(r'^jutebook_requests_total\{.*"alive".*\} (\S+)', told, re.MULTILINE)
    return int(sum(map(float, counted)))


def _workers(parent: int) -> list[int]:
    """Name the processes that answer; the library starts one more that does not."""
    children = Path(f"/proc/{parent}/task/{parent}/children").read_text(encoding="ascii").split()
    return [
        int(child)
        for child in children
        if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes()
    ]


@contextmanager
def _halted(process: int) -> Iterator[None]:
    """Let a process stand still, so that what is answered meanwhile is answered by another."""
    os.kill(process, signal.SIGSTOP)
    try:
        _until(lambda: _state(process) == "T")
        yield
    finally:
        os.kill(process, signal.SIGCONT)


def _has_ended(process: int) -> bool:
    """Tell also of one whose end nobody has asked for yet."""
    try:
        return _state(process) == "Z"
    except (FileNotFoundError, ProcessLookupError):
        return True


def _state(process: int) -> str:
    stat = Path(f"/proc/{process}/stat").read_text(encoding="utf-8")
    return stat.rpartition(") ")[2][0]
