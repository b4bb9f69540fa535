"""A disk beneath the database that is full, can only be read, or takes long to keep anything.

Clients write on: what is refused is refused whole, with 503 and a time to come again; what is sent
again afterwards, to the same server, is booked once.
"""

import errno
import os
import shutil
import subprocess
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Final, Self

import httpx
from psycopg import OperationalError

from tests.faults.killing import House, Tally, Written, acts, examine
from tests.makers import make_book
from tests.postgres import PostgresServer
from tests.serving import ServiceProcess, Wire

_CLIENTS: Final = 16
_EACH: Final = 12
"""So many writes of a client while the disk is full or slow."""
_SHIM: Final = Path(__file__).with_name("slow_disk.c")


class UnavailableError(RuntimeError):
    """This machine does not let us play it; the message says what is missing."""


class SmallDisk:
    """A disk of so many megabytes, in memory, that can be filled to the last byte and emptied."""

    def __init__(self, megabytes: int) -> None:
        self._megabytes = megabytes

    def __enter__(self) -> Self:
        self.folder = Path(tempfile.mkdtemp(prefix="jutebook-disk-"))
        size = f"size={self._megabytes}m,mode=0777"
        try:
            _run("mount", "-t", "tmpfs", "-o", size, "tmpfs", str(self.folder))
        except UnavailableError:
            self.folder.rmdir()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        _run("umount", "--lazy", str(self.folder))
        self.folder.rmdir()

    def fill(self) -> None:
        with self._ballast.open("ab", buffering=0) as ballast:
            for size in (1 << 20, 1 << 12):
                try:
                    while ballast.write(b"\0" * size) == size:
                        pass
                except OSError as error:
                    if error.errno != errno.ENOSPC:
                        raise

    def empty(self) -> None:
        self._ballast.unlink()

    @property
    def _ballast(self) -> Path:
        return self.folder / "ballast"


class SlowDisk:
    """Every disk of the processes started meanwhile: it keeps things as slowly as it is told."""

    def __enter__(self) -> Self:
        self._folder = Path(tempfile.mkdtemp(prefix="jutebook-slow-"))
        self._folder.chmod(0o755)
        self._milliseconds = self._folder / "milliseconds"
        self.takes(0)
        self._unload = preload(_SHIM, self._folder, JUTEBOOK_SLOW_DISK=str(self._milliseconds))
        return self

    def __exit__(self, *_: object) -> None:
        self._unload()
        shutil.rmtree(self._folder)

    def takes(self, milliseconds: int) -> None:
        self._milliseconds.write_text(str(milliseconds))


def preload(source: Path, folder: Path, **said: str) -> Callable[[], None]:
    """Put a library before the disk of processes started from now on; returns what ends that."""
    library = folder / f"{source.stem}.so"
    _run("cc", "-shared", "-fPIC", "-o", str(library), str(source))
    os.environ |= said | {"LD_PRELOAD": str(library)}

    def unload() -> None:
        for name in ("LD_PRELOAD", *said):
            del os.environ[name]

    return unload


def _run(*command: str) -> None:
    try:
        done = subprocess.run(command, check=False, capture_output=True, text=True)  # noqa: S603
    except OSError as error:
        raise UnavailableError(f"{command[0]} cannot be run here: {error}") from error
    if done.returncode:
        raise UnavailableError(f"`{' '.join(command)}` was refused: {done.stderr.strip()}")


@dataclass
class Trouble:
    """What came of it."""

    what: str
    tally: Tally = field(default_factory=Tally)
    statuses: Counter[int] = field(default_factory=Counter)
    """Of writes while it lasted."""
    reads: Counter[int] = field(default_factory=Counter)
    slowest_read_s: float = 0
    found_booked: int = 0
    """Of what was answered 503: how much had been booked all the same, when it was sent again."""
    unready: Counter[str] = field(default_factory=Counter)
    """What `/readyz` said meanwhile."""
    afterwards: str = ""
    """What had to be done to the database, beside making room."""

    def __str__(self) -> str:
        refused = self.statuses[503]
        return (
            f"{self.what}: {dict(sorted(self.statuses.items()))} to writes and "
            f"{dict(sorted(self.reads.items()))} to reads meanwhile (the slowest read took "
            f"{self.slowest_read_s:.2f} s); afterwards {refused} were sent again to the same "
            f"server: {refused - self.found_booked} were booked then, {self.found_booked} had been."
            f"{self.afterwards}{self._of_readiness()}"
        )

    def _of_readiness(self) -> str:
        return "".join(f" /readyz said: {said}" for said in self.unready)


def _play(found: Trouble, url: str, spoil: Callable[[], None], mend: Callable[[], str]) -> Trouble:
    """Write on a good disk, on a bad one, and on a good one again."""
    make_book(url)
    house = House(url, busy_timeout_s=2)
    refused: list[Written] = []
    with ServiceProcess(house.settings) as server, Wire(server.address, house.token) as wire:
        streams = [acts(house, f"c{each}", each) for each in range(_CLIENTS)]

        def write(stream: Iterator[Written]) -> None:
            for each in islice(stream, _EACH):
                _note(found, each, wire.post(each.path, each.body, each.key), refused)

        with ThreadPoolExecutor(_CLIENTS) as pool:
            list(pool.map(write, streams))
        found.statuses.clear()
        spoil()
        over = threading.Event()
        reader = threading.Thread(target=_read, args=(wire, found, over))
        reader.start()
        with ThreadPoolExecutor(_CLIENTS) as pool:
            list(pool.map(write, streams))
        over.set()
        reader.join()
        found.afterwards = mend()
        for each in refused:
            answer = wire.post(each.path, each.body, each.key)
            found.found_booked += "idempotency-replayed" in answer.headers
            if answer.is_success:
                found.tally.acknowledged[each.key] = (each, answer.content)
            elif answer.status_code != 409:
                found.tally.flaws.append(f"{each} sent again was answered {answer.status_code}")
    found.tally.flaws += examine(house, found.tally)
    return found


def _note(found: Trouble, write: Written, answer: httpx.Response, refused: list[Written]) -> None:
    found.statuses[answer.status_code] += 1
    if answer.is_success:
        found.tally.acknowledged[write.key] = (write, answer.content)
    elif answer.status_code == 503:
        refused.append(write)
        if not answer.headers.get("retry-after", "").isdecimal():
            found.tally.flaws.append(f"503 without Retry-After: {answer.text}")
    elif answer.status_code != 409:
        found.tally.flaws.append(f"{write} was answered {answer.status_code}: {answer.text}")


def _read(wire: Wire, found: Trouble, over: threading.Event) -> None:
    while not over.wait(0.2):
        asked = time.monotonic()
        answer = wire.ask("/sacks")
        found.slowest_read_s = max(found.slowest_read_s, time.monotonic() - asked)
        found.reads[answer.status_code] += 1
        ready = wire.ask("../../readyz")
        if not ready.is_success:
            found.unready[ready.json()["detail"]] += 1
        if answer.status_code not in {200, 503}:
            found.tally.flaws.append(f"reading was answered {answer.status_code}: {answer.text}")


def _nothing_to_do() -> str:
    return ""


def full_sqlite() -> Iterator[Trouble]:
    """Fill the disk that the file of the book is on."""
    with SmallDisk(64) as disk:

        def mend() -> str:
            disk.empty()
            return " Nothing but room was needed."

        yield _play(
            Trouble("SQLite on a full disk"), f"sqlite:///{disk.folder}/book.db", disk.fill, mend
        )


def read_only_sqlite() -> Iterator[Trouble]:
    """Put the same files on a disk that can only be read in the place of theirs, then let it write.

    The kernel lets no disk be made read-only while a file on it is open to be written to.
    """
    with SmallDisk(64) as disk, SmallDisk(64) as sealed, ExitStack() as mounted:

        def seal() -> None:
            for each in disk.folder.iterdir():
                shutil.copy2(each, sealed.folder)
            _run("mount", "-o", "remount,ro", str(sealed.folder))
            _run("mount", "--bind", str(sealed.folder), str(disk.folder))
            mounted.callback(_run, "umount", "--lazy", str(disk.folder))

        def unseal() -> str:
            _run("mount", "-o", "remount,rw", str(sealed.folder))
            _run("mount", "-o", "remount,bind,rw", str(disk.folder))
            return " Nothing but `mount -o remount,rw` was needed."

        what = Trouble("SQLite on a disk that can only be read")
        yield _play(what, f"sqlite:///{disk.folder}/book.db", seal, unseal)


def full_postgresql() -> Iterator[Trouble]:
    """Fill the disk of the tables alone, then that of the whole server."""
    with SmallDisk(64) as disk, PostgresServer(durable=True) as server:
        server.create_tablespace("small", disk.folder)
        server.create_database("book", tablespace="small")

        def mend() -> str:
            disk.empty()
            return " Nothing but room was needed."

        what = Trouble("PostgreSQL, the disk of the tables full")
        yield _play(what, server.url("book"), disk.fill, mend)
        server.drop_database("book")
    with SmallDisk(512) as disk, PostgresServer(durable=True, disk=disk.folder) as server:
        server.create_database("book")

        def start_again() -> str:
            disk.empty()
            return _see_to(server)

        what = Trouble("PostgreSQL, its only disk full, the log of writes included")
        yield _play(what, server.url("book"), disk.fill, start_again)


def _see_to(server: PostgresServer) -> str:
    """Start a server that gave up."""
    try:
        server.as_superuser().close()
    except OperationalError:
        server.start()
        return " PostgreSQL had stopped and was started; the service was not."
    return " Nothing but room was needed."


@contextmanager
def _slow(milliseconds: int) -> Iterator[tuple[Callable[[], None], Callable[[], str]]]:
    with SlowDisk() as disk:

        def mend() -> str:
            disk.takes(0)
            return ""

        yield lambda: disk.takes(milliseconds), mend


def slow_sqlite() -> Iterator[Trouble]:
    """Let every flush to the disk take most of a second."""
    with _slow(700) as (spoil, mend), tempfile.TemporaryDirectory() as folder:
        yield _play(Trouble("SQLite, 0.7 s a flush"), f"sqlite:///{folder}/book.db", spoil, mend)


def slow_postgresql() -> Iterator[Trouble]:
    """Likewise."""
    with _slow(700) as (spoil, mend), PostgresServer(durable=True) as server:
        server.create_database("book")
        yield _play(Trouble("PostgreSQL, 0.7 s a flush"), server.url("book"), spoil, mend)
