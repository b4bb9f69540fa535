"""The command line: `jutebook`, or `python -m app`."""

from typing import Annotated

import typer

from app import __version__
from app.cli.front import COMMANDS, Front

cli = typer.Typer(
    name="jutebook",
    cls=Front,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
    epilog="Every command explains itself: jutebook serve --help",
)


def _elsewhere() -> None:
    """Stand for a command until it is fetched."""


for name, command in COMMANDS.items():
    cli.command(name, help=command.does)(_elsewhere)


def _tell_version(asked: bool) -> None:
    if asked:
        typer.echo(f"jutebook {__version__}")
        raise typer.Exit


@cli.callback()
def _front(
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
