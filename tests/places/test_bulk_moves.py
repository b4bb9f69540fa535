"""Moving everything of a place or a lot at once, and cautions for what goes up high."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from app.settings import Settings
from app.standards.handling import ABOVE_SHOULDER, HEAVY
from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.places.conftest import Put


def moved(answer: dict[str, Any]) -> list[tuple[str, str | None]]:
    return [(each["sack"], each["from"]) for each in answer["sacks"]]


def test_all_that_is_left_at_a_place_and_below_it_moves(
    house: Api, put: Put, book_is_sound: Callable[[], None]
) -> None:
    low, gone = put("C-01-1", 60, 40)
    [high] = put("C-01-2", 30)
    put("HALL", 30)
    batch = roast(house, {gone: 40}, 34)["code"]
    house.post("/moves", {"sacks": [batch], "to": "C-01"})

    answer = house.post("/moves", {"from": "c-01", "to": "B-02"})

    assert moved(answer) == [(low, "C-01-1"), (high, "C-01-2"), (batch, "C-01")]
    assert house.get(f"/sacks/{gone}")["location"] == "C-01-1"  # empty: there is nothing to carry
    assert house.get("/locations/B-02")["standing_kg"] == 124
    book_is_sound()


def test_all_sacks_of_a_lot_move_or_those_of_one_place(house: Api, put: Put) -> None:
    one, two = put("C-01-1", 20, 20, lot="GL-1")
    put("C-01-1", 20, lot="GL-2")
    house.post("/moves", {"sacks": [two], "to": "A-01"})

    part = house.post("/moves", {"from": "C-01", "lot": "gl-1", "to": "B-02"})
    rest = house.post("/moves", {"lot": "GL-1", "to": "B-02"})

    assert moved(part) == [(one, "C-01-1")]
    assert moved(rest) == [(two, "A-01")]  # the other stands there already


def test_what_stands_there_already_is_passed_over_in_a_bulk_move(house: Api, put: Put) -> None:
    put("C-01-1", 20)
    [high] = put("C-01-2", 20)

    answer = house.post("/moves", {"from": "C-01", "to": "C-01-1"})

    assert moved(answer) == [(high, "C-01-2")]
    refused = house.refuse("/moves", {"from": "C-01", "to": "C-01-1"}, 409, "already-done")
    assert len(refused["units"]) == 2


@pytest.mark.parametrize("choice", [{"from": "B-02"}, {"lot": "GL-1", "from": "B-02"}])
def test_where_nothing_is_left_there_is_nothing_to_move(
    house: Api, put: Put, choice: dict[str, str]
) -> None:
    put("C-01-1", 20, lot="GL-1")

    refused = house.refuse("/moves", choice | {"to": "A-01"}, 404, "not-found")

    assert "nothing left" in refused["detail"]


@pytest.mark.parametrize(
    "choice",
    [{}, {"sacks": ["S-1"], "from": "B-02"}, {"sacks": ["S-1"], "lot": "GL-1"}, {"sacks": []}],
)
def test_a_move_says_what_in_one_way(house: Api, choice: dict[str, Any]) -> None:
    house.refuse("/moves", choice | {"to": "A-01"}, 422, "invalid")


@pytest.mark.parametrize(
    ("choice", "pointer"), [({"from": "NOWHERE"}, "#/from"), ({"from": "B-02"}, "#/to")]
)
def test_a_place_that_is_not_known_is_pointed_at(
    house: Api, choice: dict[str, str], pointer: str
) -> None:
    to = "A-01" if pointer == "#/from" else "NOWHERE"

    refused = house.refuse("/moves", choice | {"to": to}, 422, "unknown-reference")

    assert refused["errors"][0]["pointer"] == pointer


def test_six_hundred_sacks_move_by_name_at_once(house: Api, put: Put) -> None:
    sacks = put("A-01", *[1] * 600)

    answer = house.post("/moves", {"sacks": sacks, "to": "B-02"})

    assert len(answer["sacks"]) == 600
    assert house.get("/locations/B-02")["standing_kg"] == 600


@pytest.mark.parametrize(
    ("net_kg", "heavy"),
    [
        # Health and Safety Executive, food and drink manual handling: sacks are to be brought to
        # 25 kg or below. That a caution begins above it and not at it is our rule.
        ("70", True), ("30", True), ("25.001", True), ("25", False), ("20", False),
    ],
)  # fmt: skip
def test_a_heavy_sack_that_goes_above_the_shoulder_is_cautioned_about_and_moved(
    house: Api, put: Put, net_kg: str, heavy: bool
) -> None:
    [sack] = put("C-01-1", kg(net_kg))

    up = house.post("/moves", {"sacks": [sack], "to": "C-01-2"})
    down = house.post("/moves", {"sacks": [sack], "to": "C-01-1"})

    assert up["cautions"] == ([{"codes": [sack], "caution": ABOVE_SHOULDER}] if heavy else [])
    assert down["cautions"] == []
    assert house.get(f"/sacks/{sack}")["location"] == "C-01-1"


def test_a_delivery_says_which_heavy_sacks_went_up(house: Api) -> None:
    sacks = [
        {"code": "BIG", "net_kg": 60, "location": "C-01-2"},
        {"code": "SMALL", "net_kg": 25, "location": "C-01-2"},
        {"code": "LOW", "net_kg": 60, "location": "C-01-1"},
        {"code": "NOWHERE", "net_kg": 60},
    ]
    lot = {"name": "Sul", "origin": "BR", "sacks": sacks}

    answer = house.post("/deliveries", {
        "supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": [lot],
    })  # fmt: skip

    assert answer["cautions"] == [{"codes": ["BIG"], "caution": ABOVE_SHOULDER}]


def test_a_place_that_says_nothing_is_as_high_as_what_it_is_part_of(house: Api, put: Put) -> None:
    house.post("/locations", {"code": "SHELF", "kind": "shelf", "parent": "C-01-2"})
    low = {"code": "STEP", "kind": "shelf", "parent": "C-01-2", "above_shoulder": False}
    house.post("/locations", low)
    [sack] = put("C-01-1", 60)

    answers = [house.post("/moves", {"sacks": [sack], "to": to}) for to in ("SHELF", "STEP")]

    assert [bool(answer["cautions"]) for answer in answers] == [True, False]


def test_what_counts_as_heavy_is_the_roastery_s_to_set(
    house: Api, put: Put, service: FastAPI, settings: Settings
) -> None:
    [sack] = put("C-01-1", 20)
    service.state.settings = settings.model_copy(update={"heavy_over_kg": kg("19.999")})

    assert house.post("/moves", {"sacks": [sack], "to": "C-01-2"})["cautions"]


def test_a_sack_says_what_to_mind_by_what_is_in_it_now(house: Api, put: Put) -> None:
    opened, light = put("C-01-1", 60, 25)
    before = [sack["caution"] for sack in house.get("/sacks")["items"]]

    roast(house, {opened: 35}, 30)

    assert before == [HEAVY, None]
    assert [house.get(f"/sacks/{sack}")["caution"] for sack in (opened, light)] == [None, None]


def test_a_sack_cannot_move_before_it_was_put_where_it_stands(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))  # received on 2026-03-02 at 08:00
    api.post("/moves", {"sacks": [sack], "to": "A-01", "moved_at": "2026-03-04T08:00:00Z"})
    early = {"sacks": [sack], "to": "B-02"}

    before = api.refuse("/moves", early | {"moved_at": "2026-03-04T07:59:59Z"}, 422, "invalid")
    api.post("/moves", early | {"moved_at": "2026-03-04T08:00:00Z"})

    assert before["errors"][0]["pointer"] == "#/moved_at"
    assert "since 2026-03-04T08:00:00Z" in before["errors"][0]["detail"]


def test_a_sack_cannot_move_before_it_came(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))
    body = {"sacks": [sack], "to": "B-02", "moved_at": "2026-03-02T07:59:59Z"}

    api.refuse("/moves", body, 422, "invalid")

    assert api.get(f"/sacks/{sack}")["location"] is None


def test_everything_of_a_place_is_not_moved_to_that_very_place(api: Api) -> None:
    furnish(api)

    api.refuse("/moves", {"from": "B-02", "to": "b-02"}, 422, "invalid")
