"""Backing up and restoring: a copy of one moment, verified before anybody relies on it."""

from pathlib import Path
from typing import Annotated

import typer
from sqlalchemy import Engine, func, inspect, select
from sqlmodel import col

from app.cli.desk import MistakeError, examples, open_book, read_settings, sentence, who
from app.copies.files import checksum_beside, digest, seal_of
from app.copies.making import back_up, copying_of, refuse_the_book_itself
from app.ledger.checks import Finding, examine
from app.ledger.tables import Entry
from app.revision import lag
from app.shared.book_file import make_file
from app.shared.db import reading

_MAGIC = {"sqlite": b"SQLite format 3\0", "postgresql": b"PGDMP"}
"""How the file begins that each database backs up into."""
_NAMES = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


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
    so only you may read it. When it was made and what it is the book notes afterwards.
    """
    if file.exists() and not force:
        raise MistakeError(f"{file} is there already; name another, or replace it with --force.")
    with open_book(read_settings()) as engine:
        made = back_up(engine, file, who())
    typer.echo(f"{file}: the copy was read back and is whole.")
    if made.unnoted:
        typer.echo(f"That it was made could not be noted. {sentence(made.unnoted)}", err=True)
    if made.lacking:
        typer.echo(f"Its balances were not recomputed. {made.lacking}")
    elif made.found.differs:
        typer.echo(f"The book itself is not sound; {file} holds it as it is.", err=True)
        _list_and_end(made.found.differs)
    else:
        typer.echo(f"Its {made.found.entries} entries and {made.found.units} units are sound.")


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
        refuse_the_book_itself(engine, file)
        _verify(engine, file, force)
        make_file(engine)
        _refuse_entries(engine, force)
        copying_of(engine).restore(engine, file)
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
    expected = checksum_beside(file)
    if expected is None:
        typer.echo(f"{seal_of(file)} is missing: only what is in {file} is verified.", err=True)
    elif expected != digest(file):
        raise MistakeError(f"{file} is damaged: its checksum does not fit. Nothing was changed.")
    differs = copying_of(engine).verify(engine, file).differs
    if differs and not force:
        raise MistakeError(
            f"The book in {file} is not sound: {differs[0]} ({len(differs)} in all). "
            "Nothing was changed; --force restores it as it is."
        )


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


def _list_and_end(found: list[str]) -> None:
    for line in found:
        typer.echo(line, err=True)
    raise typer.Exit(1)
