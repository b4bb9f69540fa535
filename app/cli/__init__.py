"""The command line: `jutebook`, or `python -m app`."""

from typing import Annotated

import typer

from app import __version__
from app.cli import backup, check, demo, epcis, export, people, serve, stock, trace
from app.cli.desk import Desk

cli = typer.Typer(
    name="jutebook",
    cls=Desk,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
    epilog="Every command explains itself: jutebook serve --help",
)
demo.register(cli)
serve.register(cli)
people.register(cli)
stock.register(cli)
export.register(cli)
trace.register(cli)
epcis.register(cli)
check.register(cli)
backup.register(cli)


def _tell_version(asked: bool) -> None:
    if asked:
        typer.echo(f"jutebook {__version__}")
        raise typer.Exit


@cli.callback()
def front(
    _: Annotated[
        bool,
        typer.Option(
            "--version", callback=_tell_version, is_eager=True, help="Print the version and stop."
        ),
    ] = False,
) -> None:
    """Keep the book of a roastery's coffee, from the sack on the rack to the customer's bag.

    Which database is worked on, and where the service listens, is set by variables of the
    environment or in a file named .env in the folder you are in: JUTEBOOK_DATABASE_URL,
    JUTEBOOK_HOST, JUTEBOOK_PORT. Without them it is a file in your own data folder, served to
    this machine alone.
    """


def main() -> None:
    """Run the command line."""
    cli(prog_name="jutebook")
