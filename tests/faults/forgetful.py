"""The machine goes while clients write: what the disk was not told to keep is lost with it.

A process that is killed leaves all it wrote to the kernel. Here the book goes on from a second copy
of its files, which has of each what was in it when it was last flushed.
"""

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

from fastapi import FastAPI
from sqlalchemy import event

from app.main import create_app
from app.settings import Settings
from tests.faults.disks import preload
from tests.faults.killing import Tally, kill_again_and_again
from tests.makers import make_book
from tests.serving import ServerProcess, ServiceProcess

_SHIM: Final = Path(__file__).with_name("forgetful_disk.c")
_CARELESS_ROUNDS: Final = 2


class ForgetfulDisk:
    """The disk of all servers started from now on, with a folder for a book: one for a process."""

    def __enter__(self) -> Self:
        self._folder = Path(tempfile.mkdtemp(prefix="jutebook-forgetful-")).resolve()
        self.book, self._kept = self._folder / "book", self._folder / "kept"
        for each in (self.book, self._kept):
            each.mkdir()
        self._unload = preload(
            _SHIM, self._folder, FORGETFUL_BOOK=str(self.book), FORGETFUL_KEPT=str(self._kept)
        )
        return self

    def __exit__(self, *_: object) -> None:
        self._unload()
        shutil.rmtree(self._folder)

    def clear(self) -> None:
        for each in (self.book, self._kept):
            shutil.rmtree(each)
            each.mkdir()

    def keep_all(self) -> None:
        """Keep what is there, as a machine does that was shut down in order."""
        os.sync()
        _put_in_place_of(self._kept, self.book)

    def forget(self) -> None:
        """Go on with what was kept."""
        _put_in_place_of(self.book, self._kept)


def _put_in_place_of(old: Path, new: Path) -> None:
    shutil.rmtree(old)
    shutil.copytree(new, old, ignore=shutil.ignore_patterns("*-shm", "*.half-*"))


class Crashed(NamedTuple):
    """What was left after so many crashes."""

    what: str
    tally: Tally
    flaws: list[str]


def crash_again_and_again(rounds: int) -> Iterator[Crashed]:
    """Crash a machine under a service that has nothing kept, and then under ours.

    The first has to lose something: else the disk forgets nothing, and the second shows nothing.
    """
    with ForgetfulDisk() as disk:
        careless = _crash(disk, "SQLite, told to flush nothing", _CARELESS_ROUNDS, _Careless)
        forgets = any("not there" in flaw for flaw in careless.flaws)
        yield careless._replace(flaws=[] if forgets else ["what is never flushed was not lost"])
        yield _crash(disk, "SQLite, as it is served", rounds, ServiceProcess)


def _crash(disk: ForgetfulDisk, what: str, rounds: int, serve: type[ServerProcess]) -> Crashed:
    disk.clear()
    url = f"sqlite:///{disk.book}/book.db"
    make_book(url)
    *_, tally = kill_again_and_again(
        url, rounds, serve=serve, before=disk.keep_all, after=disk.forget
    )
    return Crashed(what, tally, tally.flaws)


class _Careless(ServerProcess):
    """The service on a database that leaves it to the kernel when something gets to the disk."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(_without_flushing, settings)


def _without_flushing(settings: Settings) -> FastAPI:
    service = create_app(settings)

    @event.listens_for(service.state.engine, "connect")
    def _leave_it(connection: Any, _: object) -> None:
        connection.execute("PRAGMA synchronous = OFF")

    return service
