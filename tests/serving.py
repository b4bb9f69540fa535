"""The service on a real socket: in a thread of the test, or as a process that can be killed."""

import multiprocessing
import socket
import ssl
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from typing import Any, Self, TypeVar

import httpx
import uvicorn
from fastapi import FastAPI

from app.cli.serve import open_door
from app.connections import Connection
from app.main import open_book
from app.settings import Settings
from app.shared.answers import read_json, to_json

T = TypeVar("T")

_NO_TLS = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
"""Without the list of authorities, which takes longer to load than most requests here."""

PATIENCE_S = 60
"""Longer than a write waits for the one before it: who gets no answer by then hangs."""

# Forked from a process that has built it already, a service starts in a blink. Forking the
# test itself would copy its threads' locks.
_FORKS = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(["tests.serving", "tests.built"])


def _listen(port: int = 0) -> socket.socket:
    """Open the socket before the service starts: clients then wait in line instead of polling."""
    return open_door("127.0.0.1", port)


def _address(listener: socket.socket) -> str:
    return f"http://127.0.0.1:{listener.getsockname()[1]}"


@contextmanager
def served(service: FastAPI, port: int = 0) -> Iterator[str]:
    """Serve from a thread; yields the address."""
    listener = _listen(port)
    server = uvicorn.Server(uvicorn.Config(service, log_config=None, http=Connection))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        yield _address(listener)
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


def _serve(listener: socket.socket, build: Callable[..., Any], what: object) -> None:
    server = uvicorn.Server(uvicorn.Config(build(what), log_config=None, http=Connection))
    server.run(sockets=[listener])


def _build(settings: Settings) -> FastAPI:
    from tests.built import SERVICE  # noqa: PLC0415 - only where it was built before the fork

    open_book(SERVICE, settings)
    return SERVICE


class ServerProcess:
    """One server process; what it serves is built there."""

    def __init__(self, build: Callable[[T], Any], what: T) -> None:
        with _listen() as listener:
            self.address = _address(listener)
            self._process = _FORKS.Process(target=_serve, args=(listener, build, what), daemon=True)
            self._process.start()

    @property
    def pid(self) -> int:
        """Its number with the machine."""
        return self._process.pid or 0

    def kill(self) -> None:
        """End it at once, whatever it was doing."""
        self._process.kill()
        self._process.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.join()


class ServiceProcess(ServerProcess):
    """One process of the service; several may share a database."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(_build, settings)


def line_to(address: str) -> socket.socket:
    """Open a connection; whoever says nothing on it for long enough to hang fails the test."""
    host, port = address.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=PATIENCE_S)


def all_of(line: socket.socket) -> bytes:
    """Read until the other side lets go."""
    came = b""
    with suppress(ConnectionResetError):
        while some := line.recv(100_000):
            came += some
    return came


def run_in_processes(act: Callable[..., None], *args: object, times: int) -> list[int | None]:
    """Run one function in several processes at once; returns how each ended."""
    start = _FORKS.Barrier(times)
    processes = [_FORKS.Process(target=_run, args=(start, act, args)) for _ in range(times)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    return [process.exitcode for process in processes]


def _run(start: threading.Barrier, act: Callable[..., None], args: tuple[object, ...]) -> None:
    start.wait()
    act(*args)


class Wire:
    """Somebody signed in over the network; threads may share one."""

    def __init__(self, address: str, token: str) -> None:
        self._client = httpx.Client(
            base_url=f"{address}/api/v1",
            headers={"Authorization": f"Bearer {token}", "Content-Type": "application/json"},
            timeout=PATIENCE_S,
            verify=_NO_TLS,
        )

    def post(self, path: str, body: object, key: str | None = None) -> httpx.Response:
        headers = {"Idempotency-Key": key} if key else {}
        return self._client.post(path, content=to_json(body), headers=headers)

    def patch(self, path: str, body: object, if_match: str) -> httpx.Response:
        return self._client.patch(path, content=to_json(body), headers={"If-Match": if_match})

    def ask(self, path: str) -> httpx.Response:
        return self._client.get(path)

    def get(self, path: str) -> Any:
        """Read something that is there."""
        return read_json(self.read(path))

    def read(self, path: str) -> bytes:
        """Read it as it comes over the wire."""
        answer = self.ask(path)
        assert answer.status_code == 200, answer.text
        return answer.content

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()


def at_once(acts: Sequence[Callable[[], T]]) -> list[T]:
    """Let everybody act at the same moment; returns what each got, in their order."""
    start = threading.Barrier(len(acts))

    def go(act: Callable[[], T]) -> T:
        start.wait()
        return act()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(go, acts))
