"""Serving the book, and bringing its database to the newest schema."""

import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import parent_process
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import Any

import typer
import uvicorn
from fastapi import FastAPI
from uvicorn.config import STARTUP_FAILURE
from uvicorn.supervisors import Multiprocess

from app import schema
from app.cli.desk import (
    MistakeError,
    examples,
    migrated_book,
    open_book,
    read_settings,
    unusable,
)
from app.cli.front import loading
from app.connections import Connection
from app.logs import set_up
from app.revision import is_newer, lag
from app.settings import Settings
from app.shared.book_file import make_file

GRACE_S = 30
"""So long a stop waits for the answers to what was asked before it."""
_WAITING = 2048
"""Connections that may wait while others are being answered."""


def register(cli: typer.Typer) -> None:
    """Add the commands to the command line."""
    cli.command(epilog=examples("jutebook serve", "JUTEBOOK_PORT=0 jutebook serve"))(serve)
    cli.command(epilog=examples("jutebook migrate"))(migrate)


def serve() -> None:
    """Serve the book to browsers, scanners and scripts until it is told to stop.

    It prints the address it answers at; Ctrl-C stops it. Where it listens is set by JUTEBOOK_HOST
    and JUTEBOOK_PORT; port 0 takes any port that is free. It does not start on a database that
    has not been migrated: run jutebook migrate first.
    """
    settings = read_settings()
    with migrated_book(settings):
        pass
    if settings.backup_folder is not None:
        _try(settings.backup_folder)
    listen(settings, lambda address: typer.echo(f"Jutebook serves at {address}"))


def build(settings: Settings) -> FastAPI:
    """Load the service, which takes seconds, and build it: whoever only starts others does not."""
    with loading():
        from app.main import create_app  # noqa: PLC0415 - as said above

        return create_app(settings)


def worker() -> FastAPI:
    """Build the service of one of several processes, by the settings of its environment.

    Where it cannot be built, no other in its place could be: all end, and none is started anew.
    """
    threading.Thread(target=_stop_without_parent, name="without-parent", daemon=True).start()
    try:
        settings = read_settings()
        set_up(settings.log)
        return build(settings)
    except MistakeError as error:
        typer.echo(f"jutebook: {error}", err=True)
    except Exception:
        logging.getLogger("jutebook").exception("The service could not be built.")
    sys.exit(STARTUP_FAILURE)


def _stop_without_parent() -> None:
    """Stop as if told to once the process that started this one is gone, however it went.

    Nobody could tell it any more, and whoever starts the service anew would find its door taken.
    """
    parent = parent_process()
    if parent is not None:
        parent.join()
        os.kill(os.getpid(), signal.SIGTERM)


def _try(folder: Path) -> None:
    """Raise what a person can mend where no backup could be put into the folder."""
    if not folder.is_dir():
        raise unusable("backup_folder", f"there is no folder {folder}")
    try:
        with TemporaryFile(dir=folder):
            pass
    except OSError as error:
        why = f"nothing can be written to {folder} ({error.strerror or error})"
        raise unusable("backup_folder", why) from error


def listen(settings: Settings, greet: Callable[[str], None]) -> None:
    """Serve until a signal ends it; `greet` is told the address as soon as it can be called."""
    door = open_door(settings.host, settings.port)
    set_up(settings.log)
    service = None
    if settings.workers == 1:
        service = build(settings)  # before the greeting: nobody should wait for it
    # The server gives the signal on when it has finished; being asked to stop is no failure.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with door:
        greet(_address(door))
        sys.stdout.flush()
        if service is None:
            _run_workers(settings, door)
        else:
            _run(service, door)


def open_door(host: str, port: int) -> socket.socket:
    """Listen there; raises what a person at the command line can mend when that is not possible."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        door = socket.create_server((host, port), family=family, backlog=_WAITING)
    except OSError as error:
        raise MistakeError(
            f"It cannot listen on {host}, port {port}: {error.strerror or error}. "
            "Choose others with JUTEBOOK_HOST and JUTEBOOK_PORT."
        ) from error
    # Each connection has it from the door. Without it the end of an answer lies here until the
    # client has said that it got the beginning, which clients put off for 40 ms.
    door.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return door


def _address(door: socket.socket) -> str:
    host, port = door.getsockname()[:2]
    return f"http://[{host}]:{port}" if door.family == socket.AF_INET6 else f"http://{host}:{port}"


def _run(service: FastAPI, door: socket.socket) -> None:
    config = uvicorn.Config(service, **_as_served(service.state.settings))
    server = uvicorn.Server(config)
    with suppress(KeyboardInterrupt):
        server.run(sockets=[door])
    if not server.started:
        raise typer.Exit(1)


def _as_served(settings: Settings) -> dict[str, Any]:
    """Settings of the server, the same for one process and for several."""
    return {
        "http": Connection,
        "forwarded_allow_ips": settings.trusted_proxies,
        "log_config": None,
        "server_header": False,
        "timeout_graceful_shutdown": GRACE_S,
    }


def _run_workers(settings: Settings, door: socket.socket) -> None:
    """Serve from several processes, each of which reads the settings itself.

    They answer at the same door and share no memory: the pen is the database's.
    """
    with TemporaryDirectory(prefix="jutebook-counters-") as folder:
        os.environ["PROMETHEUS_MULTIPROC_DIR"] = folder
        config = uvicorn.Config(
            "app.cli.serve:worker",
            factory=True,
            workers=settings.workers,
            **_as_served(settings),
            # Each loads the whole service first, which takes seconds on a small machine.
            timeout_worker_healthcheck=60,
        )
        workers = _Workers(config, sockets=[door])
        workers.run()
    if any(process.exitcode == STARTUP_FAILURE for process in workers.processes):
        raise MistakeError("One of the processes could not start; the reason stands above.")


class _Workers(Multiprocess):
    """Several processes that answer at one door, and this one, which starts and stops them."""

    def keep_subprocess_alive(self) -> None:
        """Start another for one that is gone, unless it went because it could not start.

        Each has the other end of its line; while it is open here too, one that goes before it
        answered would be waited for as long as one that takes its time.
        """
        for process in self.processes:
            process.child_conn.close()
        super().keep_subprocess_alive()

    def terminate_all(self) -> None:
        """Stop them, and hold the door open no more.

        Left open, whoever came while the last requests are answered would wait for nobody.
        """
        super().terminate_all()
        for door in self.sockets:
            door.close()


def migrate() -> None:
    """Bring the database to the newest schema, making its tables when it is empty.

    Everything happens in one transaction. Make a backup before you migrate a book that is in use.
    """
    with open_book(read_settings()) as engine:
        make_file(engine)
        lacking = lag(engine)
        if lacking is None:
            typer.echo("The database is at the newest schema already.")
            return
        if is_newer(engine):
            raise MistakeError(lacking)
        schema.migrate(engine)
    typer.echo("The database is at the newest schema now.")
