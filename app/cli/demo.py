"""The demo: a throw-away book with a year of an invented roastery in it, served until stopped."""

import errno
import secrets
import signal
import socket
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from sqlalchemy import Engine, func, select
from sqlmodel import col

from app.cli.desk import MistakeError, examples, open_book, read_settings
from app.cli.serve import listen
from app.ledger.tables import Unit
from app.schema import migrate
from app.settings import Settings
from app.shared.days import today_here
from app.shared.db import reading, writing
from app.shared.sign_in import add_token, add_user
from app.shared.staff import Role
from seed import Played, play
from seed.roastery import STAFF

_PORTS_TRIED = 50

Days = Annotated[
    int | None,
    typer.Option(min=1, max=1000, show_default="a year", help="How many working days are played."),
]
Port = Annotated[
    int | None,
    typer.Option(min=0, max=65535, show_default=False, help="Listen there instead."),
]


def register(cli: typer.Typer) -> None:
    """Add the command to the command line."""
    cli.command(epilog=examples("jutebook demo", "jutebook demo --days 20 --port 0"))(demo)


def demo(days: Days = None, port: Port = None) -> None:
    """Serve a book that is made up for you to try things out on.

    It plays a year of an invented roastery, up to yesterday, into a book in a temporary folder,
    and prints the address, a person and a token for each role, and three things to try. Ctrl-C
    stops it and throws the book away. Your own book is not touched.
    """
    # From here on being asked to stop is no failure, and the folder goes whatever happens.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    house = read_settings()
    with suppress(KeyboardInterrupt), TemporaryDirectory(prefix="jutebook-demo-") as folder:
        book = {
            "database_url": f"sqlite:///{Path(folder) / 'demo.db'}", "read_database_url": None,
            "workers": 1,
        }  # fmt: skip
        settings = house.model_copy(update=book)
        with open_book(settings) as engine:
            played = _fill(engine, settings, days)
            password, tokens = _let_in(engine)
            units = _count_units(engine)
        free = free_port(house.host, house.port if port is None else port)
        greet = partial(_greet, played=played, password=password, tokens=tokens, units=units)
        listen(settings.model_copy(update={"port": free}), greet)


def _fill(engine: Engine, settings: Settings, days: int | None) -> Played:
    migrate(engine)
    yesterday = today_here() - timedelta(days=1)
    with _progress() as progress:
        task = progress.add_task("Playing the roastery's days", total=None)

        def tell(done: int, of: int) -> None:
            progress.update(task, completed=done, total=of)

        return play(engine, settings, last_day=yesterday, days=days, on_day=tell)


@contextmanager
def _progress() -> Iterator[Progress]:
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    if not console.is_terminal:
        console.print("Playing the roastery's days …")
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as progress:
        yield progress


def _let_in(engine: Engine) -> tuple[str, Mapping[Role, str]]:
    """Enter a person for each role with one throw-away password, and make each a token."""
    password = secrets.token_hex(8)
    with writing(engine) as session:
        for role in Role:
            add_user(session, STAFF[role], password, [role])
        return password, {role: add_token(session, STAFF[role], [role]) for role in Role}


def _count_units(engine: Engine) -> int:
    with reading(engine) as session:
        return session.scalar(select(func.count(col(Unit.id)))) or 0


def free_port(host: str, wanted: int) -> int:
    """Find the first free port from the wanted one on; 0 leaves the choice to the system."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for port in range(wanted, min(wanted + _PORTS_TRIED, 65536)):
        try:
            socket.create_server((host, port), family=family).close()
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise MistakeError(
                    f"It cannot listen on {host}, port {port}: {error.strerror or error}."
                ) from error
            continue
        if port != wanted:
            typer.echo(f"Port {wanted} is taken; the demo takes {port}.", err=True)
        return port
    raise MistakeError(f"Port {wanted} and the {_PORTS_TRIED - 1} after it are taken.")


def _greet(
    address: str, *, played: Played, password: str, tokens: Mapping[Role, str], units: int
) -> None:
    say = typer.echo
    say(f"The demo serves at {address}")
    say(f"The API, to read and to try: {address}/api/docs")
    say("")
    say(f"In the book: {units} lots, sacks, roasts, blends, packs and dispatches of an invented")
    say(f"roastery, on {played.days} working days from {played.first} to {played.last}.")
    say("")
    say(f"Sign in to the pages at {address}/ by one of the names below;")
    say(f"the password of all of them: {password}")
    say("")
    say("Scripts take the token of a role; the docs ask for it under Authorize:")
    for role, token in tokens.items():
        say(f"  {role:<10} {STAFF[role]:<16} {token}")
    say("")
    say("Things to try:")
    for what, path in _worth_trying(played):
        say(f"  {what}")
        say(f'    curl -H "Authorization: Bearer {tokens[Role.BUYER]}" "{address}/api/v1/{path}"')
    say("")
    say("Ctrl-C stops the demo and throws its book away.")


def _worth_trying(played: Played) -> Iterator[tuple[str, str]]:
    worth = played.worth
    if worth.sack:
        yield f"where the coffee of sack {worth.sack} went", _trace(worth.sack, "forward")
    if worth.wet_lot:
        yield (
            f"a lot of which a sack came wet and was destroyed: {worth.wet_lot}",
            _trace(worth.wet_lot, "forward"),
        )
    if worth.set_aside:
        yield f"a roast that missed a check: {worth.set_aside}", f"roasts/{worth.set_aside}"


def _trace(code: str, direction: str) -> str:
    return f"trace/{code}?direction={direction}"
