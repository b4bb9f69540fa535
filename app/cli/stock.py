"""Importing opening stock: what is in the house before the book is."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from sqlalchemy import Engine

from app.cli.desk import MistakeError, examples, migrated_book, read_settings, who
from app.green.opening import Sorted, enter, limits_of, sort_sheet
from app.green.stock_file import (
    COLUMNS,
    REQUIRED,
    Limits,
    StockFile,
    StockFileError,
    StockRow,
    read_stock_file,
)
from app.ledger.posting import Pen
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.mass import grams_from_kg, kg_text

imports = typer.Typer(help="Bring what is in the house already into the book.")


_SHOWN = 10
"""So many lots of one shipment are named in a warning."""


def register(cli: typer.Typer) -> None:
    """Add the commands to the command line."""
    cli.add_typer(imports, name="import", no_args_is_help=True)


@imports.callback()
def _imports() -> None:
    """Bring what is in the house already into the book."""


def _limits(settings: Settings, lightest: str, heaviest: str) -> Limits:
    try:
        lightest_g, heaviest_g = (grams_from_kg(Decimal(said)) for said in (lightest, heaviest))
    except (ValueError, ArithmeticError) as error:
        raise MistakeError(f"The limits of a sack are no kilograms: {error}.") from error
    return limits_of(settings, lightest_g, heaviest_g)


@imports.command(
    epilog=examples(
        "jutebook import stock stock.csv --dry-run",
        "jutebook import stock stock.csv",
        "jutebook import stock stock.csv --min-sack-kg 10 --max-sack-kg 100",
    ),
    help=f"""Take over the lots that are in the house, from a CSV file with one row for each lot.

    The columns are {", ".join(COLUMNS)}. The first row names them, in any order;
    {", ".join(REQUIRED)} must be there. Save the file with commas, as UTF-8. A lot of 320 sacks
    makes 320 sacks. origin is the two letters of the country, received_at a day such as 2026-03-02,
    sack_kg the net weight of one sack with a full stop before the decimals. Sacks are booked in
    whole grams: where sack_kg is finer, some sacks of the lot are a gram heavier than the others,
    so that the lot weighs what the row says.

    Every row that cannot be taken is listed with its line in the file and every reason, and
    nothing at all is stored unless you say --skip-refused. Importing the same file again
    makes nothing twice.
    """,
)
def stock(
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", show_default=False)],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check and report everything, store nothing.")
    ] = False,
    skip_refused: Annotated[
        bool, typer.Option("--skip-refused", help="Store the other rows when some are refused.")
    ] = False,
    min_sack_kg: Annotated[
        str, typer.Option(metavar="KG", help="Refuse rows with sacks lighter than this.")
    ] = "0.001",
    max_sack_kg: Annotated[
        str, typer.Option(metavar="KG", help="Refuse rows with sacks heavier than this.")
    ] = "30000",
) -> None:
    settings = read_settings()
    limits = _limits(settings, min_sack_kg, max_sack_kg)
    try:
        sheet = read_stock_file(file.read_bytes(), limits)
    except StockFileError as error:
        raise MistakeError(f"{file}: {error}") from error
    with migrated_book(settings) as engine:
        stored, found = _take_over(engine, settings, sheet, dry_run, skip_refused)
    _report(found)
    _conclude(stored, dry_run, found)


def _take_over(
    engine: Engine, settings: Settings, sheet: StockFile, dry_run: bool, skip_refused: bool
) -> tuple[bool, Sorted]:
    """Store what may be stored, all in one transaction; tell whether it was."""
    if dry_run or (sheet.refused and not skip_refused):
        with reading(engine) as session:
            return False, sort_sheet(session, sheet)
    with writing(engine) as session:
        found = sort_sheet(session, sheet)
        if found.refused and not skip_refused:
            return False, found
        pen = Pen(session, who(), settings)
        with _progress(found.new) as rows:
            for row in rows:
                enter(pen, row, found.places)
    return True, found


@contextmanager
def _progress(rows: list[StockRow]) -> Iterator[Iterable[StockRow]]:
    """Show on a terminal how many sacks are in the book; elsewhere show nothing."""
    shown = Progress(
        TextColumn("Sacks"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
        console=Console(stderr=True), disable=not sys.stderr.isatty(),
    )  # fmt: skip
    with shown:
        task = shown.add_task("", total=sum(row.sacks for row in rows))

        def each() -> Iterator[StockRow]:
            for row in rows:
                yield row
                shown.advance(task, row.sacks)

        yield each()


def _report(found: Sorted) -> None:
    for row in found.refused:
        typer.echo(str(row), err=True)
    new, there = len(found.new), len(found.there)
    for mark, coffee_year, lots in found.parcels:
        more = f" and {len(lots) - _SHOWN} more" if len(lots) > _SHOWN else ""
        typer.echo(
            f"Warning: {', '.join(lots[:_SHOWN])}{more} carry the mark {mark} in the coffee year "
            f"{coffee_year}; they are taken as parcels of one shipment."
        )
    typer.echo(f"Rows: {new} accepted, {there} already there, {len(found.refused)} refused.")
    sacks, grams = sum(row.sacks for row in found.new), sum(row.whole_g for row in found.new)
    typer.echo(f"Accepted: {sacks} sacks, {kg_text(grams)}.")
    if found.new:
        weights = [grams for row in found.new for _, grams in row.weights]
        typer.echo(f"One sack weighs {kg_text(min(weights))} to {kg_text(max(weights))}.")


def _conclude(stored: bool, dry_run: bool, found: Sorted) -> None:
    if stored:
        typer.echo("The accepted rows are in the book." if found.new else "Nothing was to be done.")
    elif dry_run:
        typer.echo("Dry run: nothing was stored.")
    else:
        typer.echo(
            "Nothing was stored. Mend the refused rows, or leave them out with --skip-refused.",
            err=True,
        )
    if found.refused and not (stored and (found.new or found.there)):
        raise typer.Exit(1)
