"""Lots of a book from before marks were read: a migration reads them, and the guard stays."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import Engine, column, insert, table, text

from app.schema import migrate
from app.shared.db import open_engine
from tests.postgres import PostgresServer

LOTS: list[tuple[str | None, str | None, str]] = [
    ("002-1961-0978", "2025/26", "2025-09-30 23:59:59"),
    (" 2/1961/978 ", "2024", "2025-10-01 00:00:00"),
    ("2/1961/10978", "08/09 crop", "2026-03-02 08:00:00"),
    ("0016-2814-0002", "2025/27", "2026-03-02 08:00:00"),
    (None, None, "2026-03-02 08:00:00"),
]
"""Mark and crop year as printed, and when the lot came."""


@pytest.fixture(params=["sqlite", "postgresql"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database at the schema before this one."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'older.db'}"
        name = None
    else:
        server: PostgresServer = request.getfixturevalue("postgres_server")
        name = f"older_{uuid4().hex}"
        server.create_database(name)
        url = server.url(name)
    engine = open_engine(url)
    migrate(engine, "0005")
    yield engine
    engine.dispose()
    if name is not None:
        server.drop_database(name)


def fill(engine: Engine) -> None:
    """Write lots as the older program did."""
    for number, (mark, crop, came) in enumerate(LOTS, 1):
        at = datetime.fromisoformat(came).replace(tzinfo=None if is_sqlite(engine) else UTC)
        write(
            engine, "entry", id=number, kind="delivery", happened_at=at, recorded_at=at,
            who="noor", facts="{}", previous_sha256="0" * 64, sha256="0" * 64,
        )  # fmt: skip
        write(
            engine, "unit", id=number, code=f"GL-{number}", kind="lot", made_g=60_000, left_g=0,
            born_entry_id=number,
        )  # fmt: skip
        write(engine, "delivery", id=number, code=f"A-{number}", entry_id=number)
        write(
            engine, "green_lot", unit_id=number, delivery_id=number, name="Sidama", origin="ET",
            ico_mark=mark, crop_year=crop,
        )  # fmt: skip


def is_sqlite(engine: Engine) -> bool:
    return engine.dialect.name == "sqlite"


def write(engine: Engine, into: str, /, **row: object) -> None:
    """Write a row of a table as it was then, whatever the program knows of it now."""
    with engine.begin() as connection:
        connection.execute(insert(table(into, *map(column, row))).values(row))


def test_the_papers_of_lots_that_are_there_are_read(older: Engine) -> None:
    fill(older)

    migrate(older)

    with older.connect() as connection:
        read = connection.execute(
            text(
                "SELECT lot_id, mark_key, coffee_year, crop_start, crop_end, same_shipment_as_id "
                "FROM lot_identity ORDER BY lot_id"
            )
        ).all()
        lots = connection.execute(
            text("SELECT ico_mark, crop_year, species, coffee_year FROM green_lot ORDER BY unit_id")
        ).all()
    assert read == [
        (1, "2/1961/978", 2024, 2025, 2026, None),
        (2, "2/1961/978", 2025, 2024, 2024, None),
        (3, "2/1961/10978", 2025, None, None, None),
        (4, None, 2025, None, None, None),
        (5, None, 2025, None, None, None),
    ]
    assert lots == [(mark, crop, None, None) for mark, crop, _ in LOTS]


def test_names_are_brought_to_the_form_in_which_they_are_compared(older: Engine) -> None:
    # "é" as two letters and as one: UAX #15, Unicode Normalization Forms, figure 3.
    for number, (name, key) in enumerate([
        ("Finca  El Roble", "finca  el roble"),
        ("Cafe\u0301", "cafe\u0301"),
        ("Caf\u00e9", "caf\u00e9"),
        ("Ac\u00adme \u200b", "ac\u00adme \u200b"),
        ("Acme\u200b", "acme\u200b"),
    ], 1):  # fmt: skip
        write(older, "supplier", id=number, name=name, name_key=key, version=1)

    migrate(older)

    with older.connect() as connection:
        keys = list(connection.scalars(text("SELECT name_key FROM supplier ORDER BY id")))
    assert keys == ["finca el roble", "cafe\u0301", "caf\u00e9", "acme", "acme\u200b"]


def test_an_empty_book_is_migrated_too(older: Engine) -> None:
    migrate(older)

    with older.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM lot_identity")) == 0
