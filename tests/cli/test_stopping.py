"""A stop lets nobody in any more and answers whoever came before it."""

import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPConnection
from subprocess import Popen

import pytest
from sqlalchemy import Engine

from app.shared.db import writing
from tests.api import Api
from tests.cli.processes import all_of, line_to, started
from tests.serving import PATIENCE_S


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
