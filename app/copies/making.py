"""Making a copy of the book as it stands at one moment, and noting that it was made."""

from pathlib import Path
from typing import Final, NamedTuple, Protocol

from sqlalchemy import Engine, inspect
from sqlalchemy.exc import DBAPIError

from app.copies import postgres_copy, sqlite_copy
from app.copies.files import CopyError, alone_in, beside, publish
from app.copies.tables import BookBackup
from app.ledger.checks import Finding
from app.revision import lag
from app.settings import Settings
from app.shared.book_file import file_of
from app.shared.db import open_engine, writing
from app.shared.times import now

_NAMED: Final = "jutebook-%Y%m%dT%H%M%SZ.backup"
"""How a copy is named by the time it was begun, so that names sort as times do."""


class Copying(Protocol):
    """How one kind of database is copied: the module of that kind."""

    def back_up(self, engine: Engine, part: Path) -> Finding:
        """Copy the book as it stands at one moment, and verify the copy."""

    def verify(self, engine: Engine, file: Path) -> Finding:
        """Read a copy in full; CopyError when it is damaged."""

    def restore(self, engine: Engine, file: Path) -> None:
        """Put a verified copy in place, all or nothing."""


class Made(NamedTuple):
    """A copy that was made, read back and noted."""

    file: Path
    found: Finding
    lacking: str | None
    """What the database lacks; then nothing could be recomputed or noted."""
    unnoted: DBAPIError | None
    """Why the book could not note it."""


def copying_of(engine: Engine) -> Copying:
    """Tell how the database of the settings is copied."""
    return sqlite_copy if engine.dialect.name == "sqlite" else postgres_copy


def back_up(engine: Engine, file: Path, who: str) -> Made:
    """Copy the book into a file, read it back, let it appear, and note it.

    The note is written when the copy is there, so it is in the book and not in the copy.

    Raises:
        CopyError: when there is no book, or nowhere to put it.
    """
    if not file.absolute().parent.is_dir():
        raise CopyError(f"There is no folder {file.parent}.")
    refuse_the_book_itself(engine, file)
    if not inspect(engine).has_table("entry"):
        raise CopyError(lag(engine) or "The database is empty.")
    begun = now()
    with beside(file) as part:
        found = copying_of(engine).back_up(engine, part)
        sha256 = publish(part, file)
    lacking = lag(engine)
    if lacking:
        return Made(file, found, lacking, None)
    note = BookBackup(
        made_at=begun, who=who, file=file.name, bytes=file.stat().st_size, sha256=sha256,
        entries=found.entries, differences=len(found.differs),
    )  # fmt: skip
    return Made(file, found, None, _noted(engine, note))


def _noted(engine: Engine, backup: BookBackup) -> DBAPIError | None:
    """Keep that it was made; a book that cannot be written is copied all the same."""
    try:
        with writing(engine) as session:
            session.add(backup)
    except DBAPIError as error:
        return error
    return None


def back_up_into_the_folder(settings: Settings, who: str) -> Made:
    """Copy the book into the folder of the settings, one at a time.

    It takes connections of its own, whose statements may take as long as they need.

    Raises:
        CopyError: when it is not made; OSError when the disk refuses it.
    """
    folder = settings.backup_folder
    if folder is None:
        raise CopyError("No folder for backups is set.")
    if not folder.is_dir():
        raise CopyError(f"There is no folder {folder}.")
    with alone_in(folder):
        file = folder / now().strftime(_NAMED)
        if file.exists():
            raise CopyError(f"{file.name} is there already.")
        engine = open_engine(settings.database_url, busy_timeout_s=settings.busy_timeout_s)
        try:
            return back_up(engine, file, who)
        finally:
            engine.dispose()


def refuse_the_book_itself(engine: Engine, file: Path) -> None:
    """Refuse to put a copy of a SQLite book in place of the file that is being served."""
    kept_in = file_of(engine.url)
    if kept_in and file.exists() and kept_in.exists() and file.samefile(kept_in):
        raise CopyError(f"{file} is the book itself; name another file.")
