"""A scope of a recall is whole or refused, and what is refused leaves nothing behind."""

from collections.abc import Callable, Iterator, Sequence

import pytest
from sqlalchemy import Engine

from app.ledger.then import newest_entry
from app.settings import Settings
from app.shared.db import reading
from tests.api import Api
from tests.makers import dispatch, receive, roast, sack_codes, sell_of_one_sack

MOST = 5
CASE = {"code": "RC-1", "kind": "inquiry", "trigger": {"kind": "complaint", "text": "musty"}}


@pytest.fixture
def settings(database_url: str) -> Settings:
    return Settings(
        database_url=database_url, hold_on_arrival=False, trace_most_units=MOST, _env_file=None
    )


@pytest.fixture
def bags(api: Api, book_is_sound: Callable[[], None]) -> Iterator[Api]:
    """A lot of one sack in one roast, one pack and one dispatch: five units."""
    sell_of_one_sack(api)
    yield api
    book_is_sound()


@pytest.fixture
def refused(api: Api, engine: Engine) -> Callable[[str, object], None]:
    """Check that something is refused, and that the book has no entry more than before."""

    def check(path: str, body: object) -> None:
        before = _entries(engine)
        said = api.refuse(path, body, 422, "reaches-too-far")
        assert (said["reached_at_least"], said["most"]) == (MOST + 1, MOST)
        assert _entries(engine) == before

    return check


def _entries(engine: Engine) -> int:
    with reading(engine) as session:
        return newest_entry(session)


def scope(api: Api, number: int) -> list[str]:
    return [each["code"] for each in api.get(f"/recalls/RC-1/scopes/{number}")["units_listed"]]


Refusing = Callable[[str, object], None]


def test_a_scope_just_within_is_frozen_whole_and_its_case_is_worked_off(bags: Api) -> None:
    bags.post("/recalls", CASE | {"start": {"units": ["LOT-A"]}})

    assert len(scope(bags, 1)) == MOST
    bags.post("/recalls/RC-1/stop", {})
    assert bags.get("/recalls/RC-1/changes")["came_in"] == []


def test_one_beyond_is_refused_and_no_case_is_opened(bags: Api, refused: Refusing) -> None:
    dispatch(bags, {"PK-1": 1}, code="DS-2")

    for start in ({"units": ["LOT-A"]}, {"units": ["DS-1"], "behind": "lot"}):
        refused("/recalls", CASE | {"start": start})

    assert bags.get("/recalls")["items"] == []


def test_one_beyond_is_refused_and_a_case_stays_as_it_was(bags: Api, refused: Refusing) -> None:
    bags.post("/recalls", CASE | {"start": {"units": ["DS-1"]}})
    dispatch(bags, {"PK-1": 1}, code="DS-2")

    refused("/recalls/RC-1/scopes", {"start": {"units": ["LOT-A"]}})

    assert scope(bags, 1) == ["DS-1"]
    assert len(bags.get("/recalls/RC-1/scopes")["items"]) == 1


def test_a_start_that_names_too_much_by_now_is_not_left_out(bags: Api, refused: Refusing) -> None:
    """What a case started at before is asked for again, and would be missing in silence."""
    sacks = [{"net_kg": 60, "location": "B-02"}] * 3
    _arrive(bags, "LOT-B", sacks)
    bags.post("/recalls", CASE | {"start": {"location": "B-02"}})
    assert len(scope(bags, 1)) == len(sacks)
    _arrive(bags, "LOT-C", sacks)

    refused("/recalls/RC-1/scopes", {"start": {"units": ["DS-1"]}})


def test_what_came_off_a_machine_is_counted_as_it_is_found(bags: Api, refused: Refusing) -> None:
    one, two = sack_codes(receive(bags, 60, 60, lot="LOT-B"))
    for number in range(MOST):
        roast(bags, {(one, two)[number % 2]: 5}, 4, code=f"OF-{number}")

    refused("/recalls", CASE | {"start": {"machine": "DRUM-75"}})


def _arrive(api: Api, lot: str, sacks: Sequence[object]) -> None:
    api.post("/deliveries", {
        "supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z",
        "lots": [{"code": lot, "name": "Sul", "origin": "BR", "sacks": sacks}],
    })  # fmt: skip
