"""Backing up and restoring: a copy of one moment, verified before anybody relies on it."""

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Protocol

import typer
from sqlalchemy import Engine, func, inspect, select
from sqlmodel import col

from app.cli import postgres_copy, sqlite_copy
from app.cli.desk import MistakeError, examples, open_book, read_settings
from app.ledger.checks import Finding, examine
from app.ledger.tables import Entry
from app.schema import lag
from app.shared.db import reading

_MAGIC = {"sqlite": b"SQLite format 3\0", "postgresql": b"PGDMP"}
"""How the file begins that each database backs up into."""
_NAMES = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


class Copying(Protocol):
    """How one kind of database is copied: the module of that kind."""

    def back_up(self, engine: Engine, part: Path) -> Finding:
        """Copy the book as it stands at one moment, and verify the copy."""

    def verify(self, engine: Engine, file: Path) -> Finding:
        """Read a copy in full; MistakeError when it is damaged."""

    def restore(self, engine: Engine, file: Path) -> None:
        """Put a verified copy in place, all or nothing."""


File = Annotated[Path, typer.Argument(metavar="FILE", show_default=False)]


def register(cli: typer.Typer) -> None:
    """Add the commands to the command line."""
    cli.command(epilog=examples("jutebook backup book-2026-03-31.backup"))(backup)
    cli.command(
        epilog=examples(
            "jutebook restore book-2026-03-31.backup",
            "JUTEBOOK_DATABASE_URL=sqlite:///trial.db jutebook restore book-2026-03-31.backup",
        )
    )(restore)


def backup(
    file: File,
    force: Annotated[bool, typer.Option("--force", help="Replace FILE when it is there.")] = False,
) -> None:
    """Copy the whole book into FILE as it stands at this moment; it may be served meanwhile.

    The copy is read back in full and its book checked before FILE appears. FILE.sha256 beside it
    holds its checksum, with which a restore finds every damage: keep the two together. A SQLite
    book makes a SQLite file, a PostgreSQL book an archive of pg_dump. FILE holds password hashes,
    so only you may read it.
    """
    if file.exists() and not force:
        raise MistakeError(f"{file} is there already; name another, or replace it with --force.")
    if not file.absolute().parent.is_dir():
        raise MistakeError(f"There is no folder {file.parent}.")
    with open_book(read_settings()) as engine:
        _refuse_the_book_itself(engine, file)
        if not inspect(engine).has_table("entry"):
            raise MistakeError(lag(engine) or "The database is empty.")
        with _beside(file) as part:
            found = _copying(engine).back_up(engine, part)
            _publish(part, file)
        lacking = lag(engine)
    typer.echo(f"{file}: the copy was read back and is whole.")
    if lacking:
        typer.echo(f"Its balances were not recomputed. {lacking}")
    elif found.differs:
        typer.echo(f"The book itself is not sound; {file} holds it as it is.", err=True)
        _list_and_end(found.differs)
    else:
        typer.echo(f"Its {found.entries} entries and {found.units} units are sound.")


def restore(
    file: File,
    force: Annotated[
        bool,
        typer.Option(
            "--force", help="Replace a book that holds entries, and take one that is not sound."
        ),
    ] = False,
) -> None:
    """Put the book of a backup in place of the one the settings name; it may be served meanwhile.

    FILE is verified first; a damaged one is refused and nothing changes. A database that holds
    entries is left alone unless you say --force: what it holds is gone then. All of it is replaced
    at once or nothing is, and the book is checked afterwards.
    """
    with open_book(read_settings()) as engine:
        _refuse_the_book_itself(engine, file)
        _verify(engine, file, force)
        _refuse_entries(engine, force)
        _copying(engine).restore(engine, file)
        lacking = lag(engine)
        with reading(engine) as session:
            found = Finding(0, 0, []) if lacking else examine(session)
    typer.echo(f"{file} is restored.")
    if lacking:
        typer.echo(lacking)
    elif found.differs:
        _list_and_end(found.differs)
    else:
        typer.echo(f"Its {found.entries} entries and {found.units} units are sound.")


def _verify(engine: Engine, file: Path, force: bool) -> None:
    with file.open("rb") as opened:
        begins = opened.read(16)
    backend = engine.dialect.name
    if not begins.startswith(_MAGIC[backend]):
        raise MistakeError(
            f"{file} is no backup of a {_NAMES[backend]} book, which the settings name."
        )
    expected = _checksum_beside(file)
    if expected is None:
        typer.echo(f"{_seal_of(file)} is missing: only what is in {file} is verified.", err=True)
    elif expected != _digest(file):
        raise MistakeError(f"{file} is damaged: its checksum does not fit. Nothing was changed.")
    differs = _copying(engine).verify(engine, file).differs
    if differs and not force:
        raise MistakeError(
            f"The book in {file} is not sound: {differs[0]} ({len(differs)} in all). "
            "Nothing was changed; --force restores it as it is."
        )


def _refuse_the_book_itself(engine: Engine, file: Path) -> None:
    """Refuse to put a copy of a SQLite book in place of the file that is being served."""
    kept_in = Path(engine.url.database or "") if engine.dialect.name == "sqlite" else None
    if kept_in and file.exists() and kept_in.exists() and file.samefile(kept_in):
        raise MistakeError(f"{file} is the book itself; name another file.")


def _refuse_entries(engine: Engine, force: bool) -> None:
    if force or not inspect(engine).has_table("entry"):
        return
    with reading(engine) as session:
        entries = session.scalar(select(func.count(col(Entry.id))))
    if entries:
        raise MistakeError(
            f"The database holds {entries} entries. Restore into an empty one, or say --force "
            "to lose them."
        )


def _copying(engine: Engine) -> Copying:
    return sqlite_copy if engine.dialect.name == "sqlite" else postgres_copy


def _list_and_end(found: list[str]) -> None:
    for line in found:
        typer.echo(line, err=True)
    raise typer.Exit(1)


@contextmanager
def _beside(file: Path) -> Iterator[Path]:
    """Make an empty file beside the one that is wanted, for this person's eyes only."""
    part = file.absolute().with_name(f".{file.name}.{secrets.token_hex(4)}.part")
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        yield part
    finally:
        part.unlink(missing_ok=True)


def _seal_of(file: Path) -> Path:
    return file.with_name(f"{file.name}.sha256")


def _checksum_beside(file: Path) -> str | None:
    seal = _seal_of(file)
    return seal.read_text(encoding="utf-8").split(" ")[0].strip() if seal.exists() else None


def _digest(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _publish(part: Path, file: Path) -> None:
    """Let the verified copy appear under its name, on the disk before it is spoken of."""
    _sync(part)
    digest = _digest(part)
    # Were the power cut between the next lines, a missing checksum is better than a wrong one.
    _seal_of(file).unlink(missing_ok=True)
    part.replace(file)
    _seal_of(file).write_text(f"{digest}  {file.name}\n", encoding="utf-8")
    _sync(_seal_of(file))
    _sync(file.absolute().parent)


def _sync(path: Path) -> None:
    if path.is_dir() and os.name == "nt":
        return  # Windows has no handle of a folder to be written out
    opened = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
