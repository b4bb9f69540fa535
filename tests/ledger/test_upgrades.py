"""Books of earlier programs, brought to the newest schema: all that was in them is there and sound.

`books/NNNN.sql` holds the rows of a small book as the program of that schema wrote it; the tables
come from the migrations themselves. `older/` has a book at each schema, made of one of today.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Engine, make_url, text

from app.ledger.checks import check_book
from app.revision import lag
from app.schema import migrate
from app.shared.db import open_engine, reading
from tests.api import Api
from tests.ledger.older.rows import STEPS, insert_rows, read_rows
from tests.makers import roast

BOOKS = sorted(Path(__file__).with_name("books").glob("*.sql"))


def _fill(engine: Engine, book: Path, folder: Path) -> None:
    """Make the book as it was: the migrations up to its schema, then its rows.

    They are written for SQLite; PostgreSQL is given them once that has read them.
    """
    file = folder / f"{book.stem}.db"
    if engine.dialect.name == "sqlite":
        file = Path(str(make_url(str(engine.url)).database))
    source = engine if engine.dialect.name == "sqlite" else open_engine(f"sqlite:///{file}")
    migrate(source, book.stem)
    source.dispose()
    with closing(sqlite3.connect(file)) as rows:
        rows.executescript(book.read_text(encoding="utf-8"))
    if source is not engine:
        migrate(engine, book.stem)
        insert_rows(engine, read_rows(source))
        source.dispose()


def _left(engine: Engine) -> int:
    with engine.connect() as connection:
        return int(connection.scalar(text("SELECT sum(left_g) FROM unit")) or 0)


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
        migrate(empty, revision)
        assert _left(empty) == there
    with reading(empty) as session:
        assert list(check_book(session)) == []
