"""The file of a book on SQLite: there or not, and never taken for another.

SQLite makes an empty file where there is none, and goes on writing to one that was moved away or
deleted: then what was acknowledged would be in a file that nobody finds. So nobody who opens a book
makes it, and a connection is used only while its file stands where it was opened.
"""

import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, TypeAlias

from sqlalchemy import URL, Connection, Engine, event
from sqlalchemy.engine.interfaces import DBAPIConnection, Dialect, ExceptionContext
from sqlalchemy.exc import DBAPIError, InvalidatePoolError
from sqlalchemy.pool import ConnectionPoolEntry

_MAKE_ONE: Final = (
    "`jutebook migrate` makes a new one there, `jutebook restore` puts one from a backup there"
)

Identity: TypeAlias = tuple[int, int]
"""Which file it is, whatever it is called: its disk and its number there."""


class NoBookError(sqlite3.OperationalError):
    """Where the book is kept there is none that may be opened."""

    def __init__(self, said: str, told: str) -> None:
        """Take what is said to whoever runs the service, and what may be told to anybody."""
        super().__init__(said)
        self.told = told


def file_of(url: URL) -> Path | None:
    """Tell where the book is kept; None of one that is in memory or no file of ours."""
    kept_in = url.database or ":memory:"
    if url.get_backend_name() != "sqlite" or kept_in == ":memory:" or "uri" in url.query:
        return None
    return Path(kept_in).expanduser().absolute()


def make_file(engine: Engine) -> None:
    """Make an empty file for a book that is to be made or restored; leave one that is there.

    Raises:
        NoBookError: the log of a book lies there, which SQLite would delete.
    """
    file = file_of(engine.url)
    if file is None or file.exists():
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    if _size(_log_of(file)):
        raise _log_without_book(file)
    with suppress(FileExistsError):  # made by somebody else meanwhile
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))


def code_of(error: BaseException | None) -> int:
    """Tell what SQLite found, 0 where it was not SQLite."""
    # An extended code has the plain one in its lowest byte.
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def watch(engine: Engine, file: Path) -> None:
    """Open the file alone that is there, and use no connection to one that is there no more."""
    watcher = _Watcher(engine, file)
    event.listen(engine, "do_connect", watcher.before_opening)
    event.listen(engine, "connect", watcher.opened)
    event.listen(engine, "checkout", watcher.before_use)
    event.listen(engine, "commit", watcher.before_commit)
    event.listen(engine, "handle_error", watcher.refused)


def only_reads(engine: Engine) -> bool:
    """Tell whether the file of a book is there and cannot be written, nor a log laid beside it."""
    file = file_of(engine.url)
    return file is not None and file.exists() and not _may_write(file)


def _may_write(file: Path) -> bool:
    return os.access(file, os.W_OK) and os.access(file.resolve().parent, os.W_OK)


class _Watcher:
    """Looks which file stands where the book is kept: some microseconds each time."""

    def __init__(self, engine: Engine, file: Path) -> None:
        self._engine = engine
        self._file = file
        self._path = str(file)
        self._last: Identity | None = None
        """The file that was opened last,"""
        self._last_log: Identity | None = None
        """and the log beside it."""
        self._doubted = False
        """Whether connections may be open for reading alone, of a disk that could only be read."""

    def before_opening(
        self,
        _: Dialect,
        record: ConnectionPoolEntry | None,
        cargs: list[Any],
        named: Any,  # noqa: ANN401
    ) -> None:
        there, log = _identity(self._path), _log_of(self._file)
        if there is None:
            raise _no_book(self._file)
        if _size(log):
            if not _size(self._file):
                raise _log_without_book(self._file)
            if _identity(log) == self._last_log and there != self._last:
                raise _log_of_another(self._file)
        assert record is not None  # noqa: S101 - the pool opens all of them
        # Before it is opened: were it replaced in between, its first use would show that.
        record.info["file"] = there
        record.info["fresh"] = True
        cargs[0], named["uri"] = f"{self._file.as_uri()}?mode=rw", True

    def opened(self, _: DBAPIConnection, record: ConnectionPoolEntry) -> None:
        self._last, self._last_log = record.info["file"], _identity(_log_of(self._file))

    def before_use(self, _: DBAPIConnection, record: ConnectionPoolEntry, __: object) -> None:
        fresh = record.info.pop("fresh", False)
        if _identity(self._path) != record.info["file"] or (self._doubted and not fresh):
            # All others at once, too: SQLite lets connections to one file share the log in memory,
            # and one that can only be read, as well. Of a new pool nothing is gained: what is in
            # use would go back to the old one and stay open there.
            self._engine.pool.dispose()
            raise InvalidatePoolError

    def refused(self, context: ExceptionContext) -> None:
        if code_of(context.original_exception) == sqlite3.SQLITE_READONLY:
            self._doubted = True

    def before_commit(self, connection: Connection) -> None:
        self._doubted = False
        if _identity(self._path) != connection.info["file"]:
            error = _moved_meanwhile(self._file)
            raise DBAPIError.instance("COMMIT", None, error, sqlite3.Error) from error


def _identity(file: Path | str) -> Identity | None:
    try:
        found = os.stat(file)  # noqa: PTH116 - for each request, and half as long
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _size(file: Path) -> int:
    try:
        return file.stat().st_size
    except OSError:
        return 0


def _log_of(file: Path) -> Path:
    """Name the log that SQLite keeps beside a file, where a link leads to it."""
    real = file.resolve()
    return real.with_name(f"{real.name}-wal")


def _no_book(file: Path) -> NoBookError:
    try:
        file.stat()
    except (FileNotFoundError, NotADirectoryError):
        pass
    except OSError as error:
        return NoBookError(
            f"The book at {file} cannot be reached: {error.strerror}",
            "The file of the book cannot be reached; nothing was booked. Tell whoever runs the "
            "service.",
        )
    return NoBookError(
        f"There is no book at {file}: {_MAKE_ONE}",
        "The file of the book is not where it is kept; nothing was booked. Tell whoever runs the "
        "service: it goes on by itself as soon as the file is back.",
    )


def _moved_meanwhile(file: Path) -> NoBookError:
    return NoBookError(
        f"The book at {file} was moved, deleted or replaced while it was written to",
        "The file of the book was moved, deleted or replaced meanwhile; nothing was booked.",
    )


def _log_without_book(file: Path) -> NoBookError:
    log = _log_of(file)
    return NoBookError(
        f"At {file} there is no book, but its log is there, which may hold what the book lacks: "
        f"put the book back, or {log.name} away",
        "The log of the book is there, but the book is not; nothing was booked. Tell whoever runs "
        "the service.",
    )


def _log_of_another(file: Path) -> NoBookError:
    log = _log_of(file)
    return NoBookError(
        f"{file} is another file than before, and the log of the one before lies beside it, which "
        f"would be read into this one: put {log.name} away, or the file before back",
        "The file of the book was replaced, and the log of the one before lies beside it; nothing "
        "was booked. Tell whoever runs the service.",
    )
