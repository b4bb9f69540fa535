"""Lots of a book from before marks were read: a migration reads them, and the guard stays."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from alembic import command
from sqlalchemy import Engine, text

from app.schema import _config, migrate
from app.shared.db import open_engine, writing
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
    config = _config()
    with writing(engine) as session:
        config.attributes["connection"] = session.connection()
        command.upgrade(config, "0005")
    yield engine
    engine.dispose()
    if name is not None:
        server.drop_database(name)


def fill(engine: Engine) -> None:
    """Write lots as the older program did."""
    sha = "0" * 64
    with engine.begin() as connection:
        for number, (mark, crop, came) in enumerate(LOTS, 1):
            named = {"id": number, "at": came, "sha": sha, "mark": mark, "crop": crop}
            for statement in (
                "INSERT INTO entry (id, kind, happened_at, recorded_at, who, facts, "
                "previous_sha256, sha256) VALUES (:id, 'delivery', :at, :at, 'noor', '{}', "
                ":sha, :sha)",
                "INSERT INTO unit (id, code, kind, made_g, left_g, born_entry_id) "
                "VALUES (:id, 'GL-' || :id, 'lot', 60000, 0, :id)",
                "INSERT INTO delivery (id, code, entry_id) VALUES (:id, 'A-' || :id, :id)",
                "INSERT INTO green_lot (unit_id, delivery_id, name, origin, ico_mark, crop_year) "
                "VALUES (:id, :id, 'Sidama', 'ET', :mark, :crop)",
            ):
                if engine.dialect.name == "postgresql":
                    statement = statement.replace("|| :id", "|| CAST(:id AS text)")  # noqa: PLW2901
                connection.execute(text(statement), named)


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


def test_an_empty_book_is_migrated_too(older: Engine) -> None:
    migrate(older)

    with older.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM lot_identity")) == 0
