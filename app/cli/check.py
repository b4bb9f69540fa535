"""Letting the book check itself."""

import typer

from app.cli.desk import examples, migrated_book, read_settings
from app.ledger.checks import examine
from app.ledger.journal.reading import head
from app.shared.db import reading


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(epilog=examples("jutebook check"))(check)


def check() -> None:
    """Recompute every balance from the entries and verify the chain of entries.

    It ends with 1 and lists everything that differs: an entry that was changed, taken out or put
    in, and every unit, flow or adjustment that is not as its entries say. Last lines that were
    taken off show when it ends before a line that was noted elsewhere. It only reads and may run
    while the book is served.
    """
    with migrated_book(read_settings()) as engine, reading(engine) as session:
        found, ends = examine(session), head(session)
    for line in found.differs:
        typer.echo(line)
    typer.echo(f"The journal ends at entry {ends.entry} with {ends.sha256}.")
    typer.echo(f"Checked {found.entries} entries and {found.units} units.")
    if found.differs:
        typer.echo(f"Differences: {len(found.differs)}.")
        raise typer.Exit(1)
    typer.echo("The book is sound.")
