"""The demo: a throw-away book with a year of an invented roastery in it, served until stopped."""

import errno
import signal
import socket
import sys
from contextlib import suppress
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from app.cli import made_up
from app.cli.desk import MistakeError, examples, open_book, read_settings
from app.cli.serve import listen

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
            played = made_up.fill(engine, settings, days)
            password, tokens = made_up.let_in(engine)
            units = made_up.count_units(engine)
        free = free_port(house.host, house.port if port is None else port)
        greet = partial(made_up.greet, played=played, password=password, tokens=tokens, units=units)
        listen(settings.model_copy(update={"port": free}), greet)


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
