"""The front: it knows what each command is for, and fetches the one that is called for.

Together the commands load all there is, which takes seconds; whoever wants to read what there is
would wait for it, and each command for what only the others need.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any, Final, NamedTuple, Protocol, cast

import typer
from typer.core import TyperGroup
from typer.main import get_group


class Command(NamedTuple):
    """A command, or a group of them: the module of this package it stands in, and what it does."""

    module: str
    does: str


COMMANDS: Final = {
    "demo": Command("demo", "Serve a book that is made up for you to try things out on."),
    "serve": Command(
        "serve", "Serve the book to browsers, scanners and scripts until it is told to stop."
    ),
    "migrate": Command(
        "serve", "Bring the database to the newest schema, making its tables when it is empty."
    ),
    "users": Command("people", "Enter, list and close people who sign in with a password."),
    "tokens": Command("people", "Make, list and revoke tokens for scanners, scripts and devices."),
    "import": Command("stock", "Bring what is in the house already into the book."),
    "export": Command("export", "Take everything out of the book."),
    "trace": Command(
        "trace", "Trace a lot, sack, roast, blend, pack or dispatch by the code on its label."
    ),
    "epcis": Command(
        "epcis",
        "Tell as an EPCIS 2.0 document what happened to a unit and to all that a trace of it "
        "names.",
    ),
    "check": Command(
        "check", "Recompute every balance from the entries and verify the chain of entries."
    ),
    "backup": Command(
        "backup",
        "Copy the whole book into FILE as it stands at this moment; it may be served meanwhile.",
    ),
    "restore": Command(
        "backup",
        "Put the book of a backup in place of the one the settings name; it may be served "
        "meanwhile.",
    ),
}


class Front(TyperGroup):
    """The commands by what they do; a slip in one is said in a sentence."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:  # noqa: ANN401 - typer keeps the classes to itself
        """Fetch the command whose name was typed."""
        name, command, rest = super().resolve_command(ctx, args)
        return name, command and fetch(name or ""), rest

    def invoke(self, ctx: Any) -> Any:  # noqa: ANN401 - likewise
        """Run a command; end with 1 and a sentence when it was asked for the impossible."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise
        except Exception as error:
            from app.cli.desk import SLIPS, sentence  # noqa: PLC0415 - each command has it by then

            if not isinstance(error, SLIPS):
                raise
            typer.echo(f"jutebook: {sentence(error)}", err=True)
            raise typer.Exit(1) from error


class _Module(Protocol):
    def register(self, cli: typer.Typer) -> None: ...


def fetch(name: str) -> Any:  # noqa: ANN401 - typer keeps the class of it to itself
    """Load a command, or a group of them, with all that it needs."""
    with loading():
        module = cast("_Module", import_module(f"app.cli.{COMMANDS[name].module}"))
    cli = typer.Typer(rich_markup_mode="markdown")
    module.register(cli)
    return get_group(cli).commands[name]


@contextmanager
def loading() -> Iterator[None]:
    """Look for nothing to throw away while much is loaded, nor through what was ever after.

    All of it stays. Looking took a quarter of the loading, and as long again at the end.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()
