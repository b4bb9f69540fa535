"""Copies of a SQLite book, by SQLite's own online backup."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Engine, NullPool, create_engine

from app.copies.files import CopyError
from app.ledger.checks import Finding, examine
from app.revision import is_newer, lag
from app.shared.db import reading


def back_up(engine: Engine, part: Path) -> Finding:
    """Copy a book of which others read and write into `part`, and read the copy back."""
    with _driver(engine) as book, closing(sqlite3.connect(part)) as copy:
        book.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # so that the copy is one file and stays it
    return verify(engine, part)


def verify(_: Engine, file: Path) -> Finding:
    """Read a copy in full: its pages, its references, and the book in it.

    Raises:
        CopyError: when the file is damaged or newer than this program.
    """
    try:
        with closing(_open(file)) as copy:
            _refuse_damaged(file, copy)
    except sqlite3.Error as error:
        raise CopyError(f"{file} is damaged: {error}. Nothing was changed.") from error
    engine = create_engine("sqlite://", creator=lambda: _open(file), poolclass=NullPool)
    lacking = lag(engine)
    if is_newer(engine):
        raise CopyError(f"In {file}: {lacking} Nothing was changed.")
    if lacking:
        return Finding(0, 0, [])  # only the program of that time can recompute it
    with reading(engine) as session:
        return examine(session)


def restore(engine: Engine, file: Path) -> None:
    """Put a verified copy in place: one transaction, of which readers see all or nothing."""
    with _driver(engine) as book, closing(_open(file)) as copy:
        copy.backup(book)


def _open(file: Path) -> sqlite3.Connection:
    # Immutable: SQLite neither locks the file nor lays a journal beside it.
    return sqlite3.connect(f"{file.absolute().as_uri()}?immutable=1", uri=True)


def _refuse_damaged(file: Path, copy: sqlite3.Connection) -> None:
    for pragma in ("integrity_check", "foreign_key_check"):
        for row in copy.execute(f"PRAGMA {pragma}"):
            if row != ("ok",):
                found = ", ".join(map(str, row)).splitlines()[0]
                raise CopyError(f"{file} is damaged: {found}. Nothing was changed.")


@contextmanager
def _driver(engine: Engine) -> Iterator[sqlite3.Connection]:
    try:
        with closing(engine.raw_connection()) as lent:
            connection = lent.driver_connection
            assert isinstance(connection, sqlite3.Connection)  # noqa: S101 - the engine is SQLite's
            yield connection
    except sqlite3.Error as error:
        raise CopyError(f"SQLite did not do it: {error}.") from error
