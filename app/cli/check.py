"""Letting the book check itself."""

import typer
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from app.cli.desk import examples, migrated_book, read_settings, sentence
from app.ledger.checks import Finding, examine
from app.ledger.journal.reading import Head, head
from app.ledger.tables import BookCheck
from app.shared.db import reading, writing
from app.shared.times import now


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(epilog=examples("jutebook check"))(check)


def check() -> None:
    """Recompute every balance from the entries and verify the chain of entries.

    It ends with 1 and lists everything that differs: an entry that was changed, taken out or put
    in, and every unit, flow or adjustment that is not as its entries say. Last lines that were
    taken off show when it ends before a line that was noted elsewhere. It may run while the book
    is served: it changes nothing, and notes when it was and what it found.
    """
    with migrated_book(read_settings()) as engine:
        with reading(engine) as session:
            found, ends = examine(session), head(session)
        _note(engine, found, ends)
    for line in found.differs:
        typer.echo(line)
    typer.echo(f"The journal ends at entry {ends.entry} with {ends.sha256}.")
    typer.echo(f"Checked {found.entries} entries and {found.units} units.")
    if found.differs:
        typer.echo(f"Differences: {len(found.differs)}.")
        raise typer.Exit(1)
    typer.echo("The book is sound.")


def _note(engine: Engine, found: Finding, ends: Head) -> None:
    """Keep when the book was checked; a book that cannot be written is checked all the same."""
    try:
        with writing(engine) as session:
            session.add(
                BookCheck(
                    checked_at=now(),
                    entries=found.entries,
                    sha256=ends.sha256,
                    differences=len(found.differs),
                )
            )
    except DBAPIError as error:
        typer.echo(f"That it was checked could not be noted. {sentence(error)}", err=True)
