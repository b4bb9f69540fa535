"""A place, and everything it is part of, takes so many kilograms and not a gram more."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Connection, Engine, event

from app.shared import bulk
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.makers import pack, roast
from tests.places.conftest import Put
from tests.serving import Wire, at_once, served


def standing(api: Api, place: str) -> Any:
    return api.get(f"/locations/{place}")["standing_kg"]


def move(api: Api, sacks: list[str], to: str) -> Any:
    return api.post("/moves", {"sacks": sacks, "to": to})


def test_what_just_fits_is_taken_and_a_gram_more_is_not(
    house: Api, put: Put, book_is_sound: Callable[[], None]
) -> None:
    put("C-01-2", 60)
    fits, over = put(None, 40, kg("40.001"))

    refused = house.refuse("/moves", {"sacks": [over], "to": "C-01-2"}, 409, "over-capacity")
    move(house, [fits], "C-01-2")

    assert refused["detail"] == (
        "C-01-2 takes 100.0 kg; 60.0 kg stand there and 40.001 kg were to come."
    )
    figures = [refused[name] for name in ("location", "capacity_kg", "standing_kg", "coming_kg")]
    assert figures == ["C-01-2", 100, 60, kg("40.001")]
    assert standing(house, "C-01-2") == 100
    assert house.get(f"/sacks/{over}")["location"] is None
    book_is_sound()


def test_a_place_is_asked_too_that_holds_the_place(house: Api, put: Put) -> None:
    put("C-01-1", 60, 60, 60, 60)

    refused = house.refuse("/moves", {"sacks": put(None, 61), "to": "C-01-2"}, 409, "over-capacity")

    assert (refused["location"], refused["standing_kg"]) == ("C-01", 240)


def test_what_moves_within_a_rack_is_not_counted_twice(house: Api, put: Put) -> None:
    sacks = put("C-01-1", 60, 60, 60, 60, 60)

    move(house, sacks[:1], "C-01-2")

    assert [standing(house, place) for place in ("C-01", "C-01-1", "C-01-2")] == [300, 240, 60]


def test_a_delivery_is_refused_whole_when_its_lots_together_are_too_much(
    house: Api, book_is_sound: Callable[[], None]
) -> None:
    def lot(code: str, place: str) -> dict[str, Any]:
        sacks = [{"count": 2, "net_kg": 60, "location": place}]
        return {"code": code, "name": "Sul", "origin": "BR", "sacks": sacks}

    body = {
        "supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z",
        "lots": [lot("ONE", "C-01-1"), lot("TWO", "C-01"), lot("THREE", "C-01-1")],
    }  # fmt: skip

    refused = house.refuse("/deliveries", body, 409, "over-capacity")

    assert (refused["location"], refused["standing_kg"], refused["coming_kg"]) == ("C-01", 0, 360)
    assert house.get("/lots")["items"] == []
    body["lots"] = body["lots"][:2]
    house.post("/deliveries", body)
    assert standing(house, "C-01") == 240
    book_is_sound()


def test_what_is_left_of_a_sack_counts_and_not_what_it_weighed(house: Api, put: Put) -> None:
    [sack] = put("C-01-2", 100)
    roast(house, {sack: 40}, 34)

    move(house, put(None, 40), "C-01-2")

    assert standing(house, "C-01-2") == 100


def test_roasts_and_bags_weigh_on_a_place_too(house: Api, put: Put) -> None:
    [sack] = put("A-01", 150)
    batch = roast(house, {sack: 75}, 65)["code"]
    move(house, [batch], "C-01-2")
    bags = pack(house, {batch: 10}, bags=40)["code"]

    move(house, [bags], "C-01-2")  # 55 kg of the roast and 10 in bags
    other = roast(house, {sack: 75}, 36)["code"]

    refused = house.refuse("/moves", {"sacks": [other], "to": "C-01-2"}, 409, "over-capacity")
    assert refused["standing_kg"] == 65


def test_a_count_that_finds_more_is_not_refused_for_it_stands_there(
    house: Api, put: Put, book_is_sound: Callable[[], None]
) -> None:
    one, other = put("C-01-2", 60, 40)
    house.post("/adjustments", {"unit": one, "kg": 5, "reason": "count"})

    assert house.get("/locations/C-01-2")["free_kg"] == -5
    refused = house.refuse("/moves", {"sacks": put(None, 1), "to": "C-01-2"}, 409, "over-capacity")
    assert refused["standing_kg"] == 105
    move(house, [other], "C-01-1")  # away from there is always possible
    assert standing(house, "C-01-2") == 65
    book_is_sound()


def test_a_void_gives_back_what_the_place_had_however_full_it_is(house: Api, put: Put) -> None:
    [sack] = put("C-01-2", 100)
    batch = roast(house, {sack: 40}, 34)["code"]
    move(house, put(None, 40), "C-01-2")

    house.post(f"/units/{batch}/void", {"reason": "it was another sack"})

    assert standing(house, "C-01-2") == 140


@pytest.mark.parametrize(
    ("capacity", "status"), [("59.999", 409), ("60", 200), ("60.001", 200), (None, 200)]
)
def test_a_capacity_is_not_set_below_what_stands_there(
    house: Api, put: Put, capacity: str | None, status: int
) -> None:
    put("C-01-1", 60)
    change = {"capacity_kg": kg(capacity) if capacity else None}

    answers = [
        house.send("PATCH", f"/locations/{place}", change, If_Match="*")
        for place in ("C-01-1", "HALL", "C-01")
    ]

    assert [answer.status_code for answer in answers] == [status] * 3
    if status == 409:
        refused = problem(answers[2], 409, "over-capacity")
        assert (refused["capacity_kg"], refused["standing_kg"]) == (kg("59.999"), 60)
        assert house.get("/locations/C-01")["capacity_kg"] == 300


def test_two_at_once_do_not_put_more_there_than_it_takes(
    service: FastAPI, house: Api, put: Put, engine: Engine, book_is_sound: Callable[[], None]
) -> None:
    sacks = put(None, *[30] * 8)
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))

    with served(service) as address, Wire(address, token) as wire:
        answers = at_once([
            partial(wire.post, "/moves", {"sacks": [sack], "to": "C-01-2"}) for sack in sacks
        ])  # fmt: skip

    assert sorted(answer.status_code for answer in answers) == [201] * 3 + [409] * 5
    assert standing(house, "C-01-2") == 90
    book_is_sound()


def test_an_act_asks_the_database_as_often_whatever_the_number_of_sacks(
    house: Api, put: Put, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.send("PATCH", "/locations/C-01", {"capacity_kg": 30_000}, If_Match="*")
    asked: list[str] = []

    @event.listens_for(engine, "before_cursor_execute")
    def _note(_: object, __: object, statement: str, *___: object) -> None:
        asked.append(statement)

    by_copy = bulk._copy

    def _noted(connection: Connection, table: str, rows: Sequence[Mapping[str, object]]) -> None:
        asked.append(f"COPY {table}")  # it goes past SQLAlchemy
        by_copy(connection, table, rows)

    monkeypatch.setattr(bulk, "_copy", _noted)

    counts = []
    for number in (2, 400):
        asked.clear()
        sacks = put("C-01-1", *[1] * number)
        counts.append(len(asked))
        asked.clear()
        move(house, sacks, "A-01")
        counts.append(len(asked))

    assert counts[:2] == counts[2:]
