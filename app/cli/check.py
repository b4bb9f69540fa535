"""Letting the book check itself."""

from typing import NamedTuple

import typer
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.cli.desk import examples, migrated_book, read_settings
from app.ledger.checks import check_book
from app.ledger.tables import Entry, Unit
from app.shared.db import reading


class Finding(NamedTuple):
    """What a look through a book found."""

    entries: int
    units: int
    differs: list[str]


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(epilog=examples("jutebook check"))(check)


def examine(session: Session) -> Finding:
    """Look through a book; a value that cannot even be read differs, too."""
    entries = session.scalar(select(func.count(col(Entry.id)))) or 0
    units = session.scalar(select(func.count(col(Unit.id)))) or 0
    differs: list[str] = []
    try:
        # Not `list`, which would forget what was found before the unreadable.
        differs.extend(check_book(session))
    except (ValueError, TypeError) as error:
        differs.append(f"the book holds something that cannot be read: {error}")
    return Finding(entries, units, differs)


def check() -> None:
    """Recompute every balance from the entries and verify the chain of entries.

    It ends with 1 and lists everything that differs: an entry that was changed, taken out or put
    in, and every unit, flow or adjustment that is not as its entries say. It only reads and may
    run while the book is served.
    """
    with migrated_book(read_settings()) as engine, reading(engine) as session:
        found = examine(session)
    for line in found.differs:
        typer.echo(line)
    typer.echo(f"Checked {found.entries} entries and {found.units} units.")
    if found.differs:
        typer.echo(f"Differences: {len(found.differs)}.")
        raise typer.Exit(1)
    typer.echo("The book is sound.")
