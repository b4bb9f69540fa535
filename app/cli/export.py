"""Exporting everything, so that nobody is locked in."""

import re
import secrets
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from shutil import rmtree
from typing import Annotated, Any

import typer
from sqlalchemy import Column, Engine, LargeBinary, Row, Table, select
from sqlmodel import Session

from app.cli.desk import MistakeError, examples, migrated_book, read_settings
from app.green.arrivals.pictures import ENDINGS
from app.ledger.journal.exporting import export
from app.ledger.journal.reading import head
from app.schema import metadata
from app.shared.cells import write_csv
from app.shared.db import reading

_SECRET = re.compile(r"password(?!_set_at)|secret|hash|token|sha256")
_SEALS = {
    "entry.sha256", "entry.previous_sha256", "plot_file.sha256", "arrival_photo.sha256",
    "book_backup.sha256", "book_check.sha256",
}  # fmt: skip
"""Hashes that prove what is written and open nothing."""

exports = typer.Typer(help="Take everything out of the book.")


def register(cli: typer.Typer) -> None:
    """Add the commands to the command line."""
    cli.add_typer(exports, name="export", no_args_is_help=True)


@exports.callback()
def _exports() -> None:
    """Take everything out of the book."""


@exports.command("all", epilog=examples("jutebook export all everything-2026-03-31"))
def export_all(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", show_default=False)],
) -> None:
    """Write every table into a new folder, one CSV file each, as the book stands at this moment.

    The files are UTF-8 with a header, commas and lines that end in CR LF. Masses are grams,
    times are UTC. A text that a spreadsheet would take for a formula gets an apostrophe in
    front. Hashes of passwords and tokens stay in the book. It may run while the book is served.

    Photos are files of their own, in a folder beside the CSV file that names each of them.
    """
    target = folder.absolute()
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise MistakeError(f"{folder} is there and not an empty folder; name a new one.")
    with migrated_book(read_settings()) as engine:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
        part.mkdir()
        try:
            with reading(engine) as session:
                rows = sum(_write(session, table, part) for table in metadata().sorted_tables)
            if target.exists():
                target.rmdir()
            part.rename(target)
        except BaseException:
            rmtree(part, ignore_errors=True)
            raise
    typer.echo(f"{folder}: {len(metadata().sorted_tables)} tables, {rows} rows.")


@exports.command("journal", epilog=examples("jutebook export journal journal-2026-03-31.jsonl"))
def export_journal(
    file: Annotated[Path, typer.Argument(metavar="FILE", show_default=False)],
) -> None:
    """Write the journal into a new FILE that anybody can verify, with nothing of this program.

    Each line is an entry as the very bytes that its hash covers, each hash stands in the next
    line, and the last line counts them. Note the hash that is printed where the book is not: it
    alone shows later that no last lines were taken off and that not all of it was written anew.
    """
    with migrated_book(read_settings()) as engine:
        with reading(engine) as session:
            ends = head(session)
        part = file.absolute().with_name(f".{file.name}.{secrets.token_hex(4)}.part")
        try:
            with part.open("xb") as opened:
                opened.writelines(export(partial(_asked_of, engine), ends))
            if file.exists():
                raise MistakeError(f"{file} is there already; name a new one.")
            part.rename(file)
        finally:
            part.unlink(missing_ok=True)
    typer.echo(f"{file}: {ends.entry} entries, the last one hashes to {ends.sha256}.")


def _asked_of(engine: Engine, query: Callable[..., bytes], *args: int) -> bytes:
    with reading(engine) as session:
        return query(session, *args)


def _withheld(column: Column[object]) -> bool:
    """Tell whether a column opens doors: by its name, so that a new one is kept back unasked."""
    return bool(_SECRET.search(column.name)) and str(column) not in _SEALS


def _write(session: Session, table: Table, folder: Path) -> int:
    columns = [column for column in table.columns if not _withheld(column)]
    pictures = any(isinstance(column.type, LargeBinary) for column in columns)
    # One picture at a time in memory, and many rows of anything else.
    found = session.execute(
        select(*columns)
        .order_by(*table.primary_key)
        .execution_options(yield_per=1 if pictures else 5000)
    )
    rows = _beside(table, folder, found) if pictures else found
    with (folder / f"{table.name}.csv").open("x", encoding="utf-8", newline="") as file:
        return write_csv(file, [column.name for column in columns], rows)


def _beside(table: Table, folder: Path, found: Iterable[Row[Any]]) -> Iterator[list[object]]:
    """Write bytes into files of their own and put their names into the cells.

    A spreadsheet cuts long cells short, and a picture can be looked at where it is a file.
    """
    for row in found:
        ending = ENDINGS.get(row._mapping.get("media_type", ""), "bin")  # noqa: SLF001 - public
        cells: list[object] = []
        for value in row:
            if isinstance(value, bytes):
                name = f"{table.name}/{row.id}.{ending}"
                (folder / table.name).mkdir(exist_ok=True)
                (folder / name).write_bytes(value)
                cells.append(name)
            else:
                cells.append(value)
        yield cells
