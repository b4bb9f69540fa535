"""Asking where coffee went, or what it was made of."""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Annotated, Any

import typer
from pydantic import TypeAdapter, ValidationError

from app.cli.desk import MistakeError, examples, migrated_book, paper, read_settings, ruled
from app.shared.answers import to_json
from app.shared.codes import Code
from app.shared.db import reading
from app.tracing.queries import trace_unit
from app.tracing.schemas import Direction
from app.tracing.sheets import UNIT, units_csv

_CUSTOMER = ("customer", "contact", "dispatches", "bags", "kg", "suspect_kg", "returned_bags")
_SUPPLIER = ("supplier", "delivery", "lots")
_MATERIAL = ("lot", "material", "kind", "supplier", "reference", "packs", "used")


class Form(StrEnum):
    """How an answer is written."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(
        epilog=examples(
            "jutebook trace L-000001-7", "jutebook trace P-000042-K --backward --format csv"
        )
    )(trace)


def trace(
    code: Annotated[str, typer.Argument(metavar="CODE", show_default=False)],
    forward: Annotated[
        bool,
        typer.Option(
            "--forward/--backward",
            help="Forward: everything that contains any of it. Backward: what it was made from.",
        ),
    ] = True,
    form: Annotated[
        Form,
        typer.Option(
            "--format",
            help="A table to read, CSV of the units, or JSON as the API answers it.",
        ),
    ] = Form.TABLE,
) -> None:
    """Trace a lot, sack, roast, blend, pack or dispatch by the code on its label.

    The answer names every unit reached and how much of it is concerned, the customers it went to,
    the suppliers it came from, and a balance that says where all the kilograms are.
    """
    direction = Direction.FORWARD if forward else Direction.BACKWARD
    with migrated_book(read_settings()) as engine, reading(engine) as session:
        answer = trace_unit(session, code_said(code), direction)
    if form is Form.JSON:
        typer.echo(to_json(answer))
    elif form is Form.CSV:
        typer.echo(units_csv(answer), nl=False)
    else:
        _tables(answer)


def code_said(said: str) -> str:
    """Read a code as the API does, or say in a sentence why it is none."""
    try:
        return TypeAdapter(Code).validate_python(said)
    except ValidationError as error:
        reason = error.errors(include_url=False)[0]["msg"].removeprefix("Value error, ")
        raise MistakeError(f"{said} is no code: {reason}.") from error


def _tables(answer: Mapping[str, Any]) -> None:
    page = paper()
    start = answer["of"]
    page.print(f"{answer['direction'].capitalize()} from {start['kind']} {start['code']}")
    for title, columns, rows in (
        ("Units", UNIT, answer["units"]),
        ("Customers", _CUSTOMER, answer["customers"]),
        ("Suppliers", _SUPPLIER, answer["suppliers"]),
        ("Packing materials", _MATERIAL, answer["materials"]),
        ("Balance", ("what", "kg"), _balance(answer["balance"])),
    ):
        table = ruled(title, *columns)
        for row in rows:
            table.add_row(*(_said(row[name]) for name in columns))
        page.print(table)
    page.print(f"Accounted for: {answer['balance']['accounted_pct']} %")
    page.print(answer["caution"])


def _balance(figures: Mapping[str, object]) -> list[Mapping[str, object]]:
    return [
        {"what": name.removesuffix("_kg").replace("_", " "), "kg": value}
        for name, value in figures.items()
        if name.endswith("_kg")
    ]


def _said(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(map(str, value))
    return str(value)
