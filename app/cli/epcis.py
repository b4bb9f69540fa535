"""Telling others what happened, as an EPCIS 2.0 document."""

from typing import Annotated

import typer

from app.cli.desk import examples, migrated_book, read_settings
from app.cli.trace import code_said
from app.epcis.documents import trace_document
from app.shared.answers import to_json
from app.shared.db import reading
from app.tracing.schemas import Direction


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(
        epilog=examples("jutebook epcis L-000001-7", "jutebook epcis P-000042-K --backward")
    )(epcis)


def epcis(
    code: Annotated[str, typer.Argument(metavar="CODE", show_default=False)],
    forward: Annotated[
        bool,
        typer.Option(
            "--forward/--backward",
            help="Forward: everything that contains any of it. Backward: what it was made from.",
        ),
    ] = True,
) -> None:
    """Tell as an EPCIS 2.0 document what happened to a unit and to all that a trace of it names.

    Names are GS1 Digital Links where JUTEBOOK_GS1_COMPANY_PREFIX is set, else addresses under
    JUTEBOOK_EPCIS_NAMESPACE.
    """
    direction = Direction.FORWARD if forward else Direction.BACKWARD
    settings = read_settings()
    with migrated_book(settings) as engine, reading(engine) as session:
        typer.echo(to_json(trace_document(session, settings, code_said(code), direction)))
