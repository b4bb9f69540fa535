"""From every schema there was, a book with something in every table comes whole to the newest.

The book is one of today's program, without the tables and columns that were not there yet. Its
journal is that of today, so it tells also of acts that no table of that schema can hold; entries,
units and flows are what they are at every schema, so the whole book can be checked.
"""

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.ledger.checks import check_book
from app.main import open_book
from app.revision import lag
from app.schema import migrate
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.ledger.older.earlier import after_the_upgrade, at_schema
from tests.ledger.older.rows import STEPS, Rows, bring_to, insert_rows, read_rows, tables_of
from tests.makers import dispatch, pack, roast

EARLIER = STEPS[:-1]


@pytest.mark.parametrize("revision", EARLIER)
def test_all_that_was_in_a_book_is_there_after_the_upgrade(
    revision: str, empty: Engine, empty_url: str, today: Rows, _built: FastAPI
) -> None:
    bring_to(empty, revision)
    then = tables_of(empty)
    before = at_schema(revision, then, today)
    insert_rows(empty, before)
    assert read_rows(empty) == before
    assert [name for name, rows in before.items() if not rows] == []

    migrate(empty)

    assert lag(empty) is None
    assert read_rows(empty) == after_the_upgrade(revision, then, today)
    assert _unsound(empty) == []
    _go_on(_built, empty, empty_url)
    assert _unsound(empty) == []


def _unsound(engine: Engine) -> list[object]:
    """Name what the check of the book finds, and references that lead nowhere."""
    with reading(engine) as session:
        found: list[object] = list(check_book(session))
        if engine.dialect.name == "sqlite":
            found += session.execute(text("PRAGMA foreign_key_check")).all()
    return found


def _go_on(service: FastAPI, engine: Engine, url: str) -> None:
    """Work with the book: roast, pack, send, trace what went out, and look at what was there."""
    open_book(service, Settings(database_url=url, hold_on_arrival=False, _env_file=None))
    with writing(engine) as session:
        token = add_token(session, "Later", [Role.ADMIN])
    api = Api(service, token)
    sack = api.get("/sacks?lot=LOT-A&on_hand=true")["items"][0]["code"]
    roast(api, {sack: 12}, 10, code="LATER-1", machine="DRUM-9")
    pack(api, {"LATER-1": 5}, 10, sku="HALVES-500", code="LATER-2")
    dispatch(api, {"LATER-2": 4}, code="LATER-3")
    traced = api.get("/trace/LATER-3?direction=backward")
    assert "LOT-A" in {each["code"] for each in traced["units"]}
    api.close()
    service.state.engine.dispose()
