"""Books of earlier programs, brought to the newest schema: all that was in them is there and sound.

`books/NNNN.sql` holds the rows of a small book as the program of that schema wrote it; the tables
come from the migrations themselves. Schemas before 0004 never had a book.
"""

import sqlite3
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import (
    Boolean,
    Column,
    Date,
    DateTime,
    Engine,
    MetaData,
    func,
    insert,
    inspect,
    make_url,
    select,
    text,
)

from app.ledger.checks import check_book
from app.main import create_app
from app.revision import lag, migrations
from app.schema import migrate
from app.settings import Settings, project_folder
from app.shared.db import open_engine, reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import roast

BOOKS = sorted(Path(__file__).with_name("books").glob("*.sql"))
SCRIPTS = ScriptDirectory(project_folder("alembic"))
STEPS = [script.revision for script in reversed(list(SCRIPTS.walk_revisions()))]


def _bring_to(engine: Engine, revision: str) -> None:
    config = migrations()
    with writing(engine) as session:
        config.attributes["connection"] = session.connection()
        command.upgrade(config, revision)


def _fill(engine: Engine, book: Path, folder: Path) -> None:
    """Make the book as it was: the migrations up to its schema, then its rows."""
    file = folder / f"{book.stem}.db"
    if engine.dialect.name == "sqlite":
        file = Path(str(make_url(str(engine.url)).database))
    source = engine if engine.dialect.name == "sqlite" else open_engine(f"sqlite:///{file}")
    _bring_to(source, book.stem)
    source.dispose()
    with sqlite3.connect(file) as rows:
        rows.executescript(book.read_text(encoding="utf-8"))
        if source is not engine:
            _bring_to(engine, book.stem)
            _copy(rows, engine)
    rows.close()


def _copy(rows: sqlite3.Connection, engine: Engine) -> None:
    """Copy every row into PostgreSQL, and let its numbers go on after them."""
    tables = MetaData()
    tables.reflect(engine)
    with engine.begin() as there:
        for table in tables.sorted_tables:
            names = ", ".join(f'"{column.name}"' for column in table.columns)
            if table.name == "alembic_version":
                continue
            found = rows.execute(f'SELECT {names} FROM "{table.name}" ORDER BY rowid').fetchall()  # noqa: S608
            said = [
                {
                    each.name: _typed(each, value)
                    for each, value in zip(table.columns, row, strict=True)
                }
                for row in found
            ]
            if said:
                there.execute(insert(table), said)
            identity = inspect(there).get_columns(table.name)
            for column in identity:
                if "nextval" in str(column["default"]):
                    last = there.scalar(select(func.max(table.c[column["name"]]))) or 0
                    there.execute(
                        text("SELECT setval(pg_get_serial_sequence(:t, :c), :n, :used)"),
                        {"t": f'"{table.name}"', "c": column["name"], "n": max(last, 1),
                         "used": bool(last)},
                    )  # fmt: skip


def _typed(column: Column[Any], value: Any) -> Any:
    if value is None:
        return None
    if isinstance(column.type, Boolean):
        return bool(value)
    if isinstance(column.type, DateTime):
        return datetime.fromisoformat(value)
    return date.fromisoformat(value) if isinstance(column.type, Date) else value


def _left(engine: Engine) -> int:
    with engine.connect() as connection:
        return int(connection.scalar(text("SELECT sum(left_g) FROM unit")) or 0)


@pytest.fixture
def api_of(empty: Engine, empty_url: str) -> Iterator[Callable[[], Api]]:
    opened: list[Any] = []

    def sign_in() -> Api:
        service = create_app(
            Settings(database_url=empty_url, hold_on_arrival=False, _env_file=None)
        )
        with writing(empty) as session:
            token = add_token(session, "Later", [Role.ADMIN])
        opened.extend([api := Api(service, token), service])
        return api

    yield sign_in
    for each in opened:
        each.close() if isinstance(each, Api) else each.state.engine.dispose()


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.stem)
def test_a_book_of_an_earlier_program_is_whole_after_the_upgrade_and_goes_on(
    book: Path, empty: Engine, tmp_path: Path, api_of: Callable[[], Api]
) -> None:
    _fill(empty, book, tmp_path)

    migrate(empty)
    api = api_of()
    traced = api.get("/trace/D-1?direction=backward")
    lot = api.get("/lots/GL-1")
    sack = next(each["code"] for each in api.get("/sacks?lot=GL-1&on_hand=true")["items"])
    later = roast(api, {sack: 30}, 25)

    assert lag(empty) is None
    with reading(empty) as session:
        assert list(check_book(session)) == []
    assert {each["code"] for each in traced["units"] if each["kind"] == "lot"} == {"GL-1", "GL-2"}
    assert lot["on_hand_kg"] == 60
    assert api.get("/lots/GL-2")["held"] is True
    assert api.get(f"/trace/{later['code']}?direction=backward")["units"]


def test_every_step_of_the_way_leaves_a_sound_book(empty: Engine, tmp_path: Path) -> None:
    _fill(empty, BOOKS[0], tmp_path)
    there = _left(empty)

    assert there > 0
    for revision in STEPS[STEPS.index(BOOKS[0].stem) + 1 :]:
        _bring_to(empty, revision)
        assert _left(empty) == there
    with reading(empty) as session:
        assert list(check_book(session)) == []
