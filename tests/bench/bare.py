"""What the databases can do behind the same server: a draw written with nothing but the driver.

It writes the rows that a roast writes, to the same tables with their indexes and triggers, one
after another as the chain of the journal wants it, and commits each as durably. It judges nothing
and keeps no rule. It stands behind the service's own door, which asks who comes and reads the body,
or behind no more than HTTP.
"""

import asyncio
import hashlib
import json
import os
import sqlite3
import sys
import threading
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

import psycopg
from fastapi import FastAPI
from sqlalchemy import make_url
from starlette.types import Receive, Scope, Send

from app.ledger.clerk import Clerk
from app.logs import set_up
from app.main import create_app
from app.roasting.schemas import RoastIn
from app.settings import Settings
from app.shared.answers import Answer
from app.shared.db import THE_PEN
from app.shared.mass import kg_from_grams

_LAST: Final = "SELECT id, sha256, (SELECT MAX(id) FROM unit) FROM entry ORDER BY id DESC LIMIT 1"
_SACK: Final = "SELECT id FROM unit WHERE code = {0}"
_TAKE: Final = "UPDATE unit SET left_g = left_g - {0} WHERE id = {0} AND left_g >= {0}"
_ROWS: Final = {
    "entry": (
        "id", "kind", "happened_at", "recorded_at", "who", "facts", "previous_sha256", "sha256",
    ),
    "unit": ("id", "code", "kind", "made_g", "left_g", "born_entry_id"),
    "flow": ("source_id", "target_id", "grams"),
    "machine_run": ("unit_id", "machine_id", "ran_at"),
    "roast": ("unit_id", "charge_g", "passed", "checks", "warnings"),
    "roast_colour": ("unit_id", "number", "shades", "entry_id"),
}  # fmt: skip


def _insert(table: str, columns: Sequence[str], mark: str) -> str:
    names, marks = ", ".join(columns), ", ".join([mark] * len(columns))
    return f"INSERT INTO {table} ({names}) VALUES ({marks})"  # noqa: S608 - nothing comes from outside


class BareBook:
    """One connection that one thread at a time writes with."""

    def __init__(self, url: str) -> None:
        self._lock = threading.Lock()
        self._connection: Any = open_bare(url)
        self._sqlite = isinstance(self._connection, sqlite3.Connection)
        mark = mark_of(self._connection)
        self._begin = (
            "BEGIN IMMEDIATE" if self._sqlite else f"BEGIN; SELECT pg_advisory_xact_lock({THE_PEN})"
        )
        self._inserts = {name: _insert(name, each, mark) for name, each in _ROWS.items()}
        self._sack, self._take = _SACK.format(mark), _TAKE.format(mark)
        self._machine = self._ask("SELECT id FROM machine WHERE code = 'DRUM-75'")[0]

    def _ask(self, statement: str, *values: object) -> Any:
        return self._connection.execute(statement, values).fetchone()

    def draw(self, sack_code: str, grams: int, end_g: int, asked: Mapping[str, Any]) -> str:
        """Book a draw, with what was asked in its entry; returns the code of the roast."""
        moment: object = datetime.now(UTC)
        if self._sqlite:
            moment = _as_sqlite(moment)
        with self._lock:
            self._connection.execute(self._begin)
            entry, before, last = self._ask(_LAST)
            (sack,) = self._ask(self._sack, sack_code)
            unit = last + 1
            facts = json.dumps({"said": asked, "book": [sack, unit, grams]})
            shades = json.dumps([int(asked["colour"]) * 1000])
            sealed = hashlib.sha256((before + facts).encode()).hexdigest()
            for table, row in {
                "entry": (entry + 1, "roast", moment, moment, "bare", facts, before, sealed),
                "unit": (unit, f"R.B{unit}", "roast", end_g, end_g, entry + 1),
                "flow": (sack, unit, grams),
                "machine_run": (unit, self._machine, moment),
                "roast": (unit, grams, True, "[]", "[]"),
                "roast_colour": (unit, 1, shades, entry + 1),
            }.items():
                self._connection.execute(self._inserts[table], row)
            self._connection.execute(self._take, (grams, sack, grams))
            self._connection.execute("COMMIT")
            return f"R.B{unit}"


def write_rows(connection: Any, table: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Write rows in bulk as each database likes it best; all have the same columns."""
    columns = list(rows[0])
    values = ([row[column] for column in columns] for row in rows)
    if isinstance(connection, sqlite3.Connection):
        plain = (list(map(_as_sqlite, each)) for each in values)
        connection.executemany(_insert(table, columns, mark_of(connection)), plain)
        return
    into = f"COPY {table} ({', '.join(columns)}) FROM STDIN"
    with connection.cursor() as cursor, cursor.copy(into) as copy:
        for each in values:
            copy.write_row(each)


def _as_sqlite(value: object) -> object:
    """Write days and moments as the service does."""
    if isinstance(value, datetime):
        return value.replace(tzinfo=None).isoformat(" ", "microseconds")
    return value.isoformat() if isinstance(value, date) else value


def mark_of(connection: object) -> str:
    """Tell how a driver marks a parameter."""
    return "?" if isinstance(connection, sqlite3.Connection) else "%s"


def open_bare(url: str) -> Any:
    """Open a database by its driver."""
    if url.startswith("sqlite"):
        connection = sqlite3.connect(
            make_url(url).database or "", isolation_level=None, check_same_thread=False
        )
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {pragma}")
        return connection
    address = make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
    return psycopg.connect(address, autocommit=True)


class BareService:
    """The least that answers HTTP (ASGI): every request books a draw."""

    def __init__(self, url: str) -> None:
        self._book = BareBook(url)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            return
        content, more = b"", True
        while more:
            message = await receive()
            content += message.get("body", b"")
            more = message.get("more_body", False)
        answer = await asyncio.to_thread(self._draw, content)
        headers = [
            (b"content-type", b"application/json"),
            (b"content-length", str(len(answer)).encode()),
        ]
        await send({"type": "http.response.start", "status": 201, "headers": headers})
        await send({"type": "http.response.body", "body": answer})

    def _draw(self, body: bytes) -> bytes:
        asked = json.loads(body)
        draw = asked["draws"][0]
        grams, end_g = round(draw["kg"] * 1000), round(asked["end_kg"] * 1000)
        code = self._book.draw(draw["sack"], grams, end_g, asked)
        return json.dumps({"code": code, "charge_kg": draw["kg"]}).encode()


def as_served(settings: Settings) -> FastAPI:
    """Build the service in a process of its own, noting each request as `serve` does."""
    sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - as long as the process
    set_up(settings.log)
    return create_app(settings)


def service_by_the_driver(settings: Settings) -> FastAPI:
    """Build the service likewise: whatever is written is a draw by the driver."""
    book = BareBook(settings.database_url)

    def write(_: Clerk, _act: object, asked: RoastIn) -> Answer:
        draw = asked.draws[0]
        code = book.draw(draw.sack, draw.grams, asked.end_g, asked.model_dump(mode="json"))
        return Answer({"code": code, "charge_kg": kg_from_grams(draw.grams)}, 201)

    Clerk.write = write  # type: ignore[assignment,method-assign]
    return as_served(settings)
