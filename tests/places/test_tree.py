"""Places in places: what a place is part of, and when that can still be changed."""

from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.places.conftest import Put


def patch(api: Api, code: str, change: dict[str, Any]) -> Any:
    return api.send("PATCH", f"/locations/{code}", change, If_Match="*")


def test_a_place_names_what_it_is_part_of_and_the_way_there(house: Api) -> None:
    level = house.get("/locations/c-01-2")

    assert level["parent"] == "C-01"
    assert level["path"] == ["QUAY", "HALL", "C-01", "C-01-2"]
    assert level["above_shoulder"] is True
    assert house.get("/locations/QUAY")["path"] == ["QUAY"]


def test_what_stands_below_a_place_stands_there_too(house: Api, put: Put) -> None:
    put("C-01-1", 60, 60)
    put("C-01-2", 30)
    put("HALL", kg("0.125"))

    shown = {each["code"]: each for each in house.get("/locations?limit=500")["items"]}

    standing = {code: each["standing_kg"] for code, each in shown.items()}
    assert standing == {
        "A-01": 0, "B-02": 0, "QUAY": kg("150.125"), "HALL": kg("150.125"), "C-01": 150,
        "C-01-1": 120, "C-01-2": 30,
    }  # fmt: skip
    free = {code: each["free_kg"] for code, each in shown.items() if each["free_kg"] is not None}
    assert free == {"C-01": 150, "C-01-2": 70}
    assert house.get("/locations/C-01") == shown["C-01"]


def test_places_are_listed_by_what_they_are_part_of_and_by_kind(house: Api) -> None:
    def codes(query: str) -> list[str]:
        return [each["code"] for each in house.get(f"/locations?{query}")["items"]]

    assert codes("parent=c-01") == ["C-01-1", "C-01-2"]
    assert codes("kind=rack") == ["A-01", "B-02", "C-01"]
    assert codes("parent=HALL&kind=level") == []
    problem(house.send("GET", "/locations?parent=NOWHERE"), 404, "not-found")


def test_sacks_below_a_place_are_listed_with_it(house: Api, put: Put) -> None:
    low, high = put("C-01-1", 60), put("C-01-2", 30)

    found = house.get("/sacks?location=C-01&on_hand=true")["items"]

    assert [sack["code"] for sack in found] == low + high
    assert [sack["location"] for sack in found] == ["C-01-1", "C-01-2"]


def test_a_site_is_part_of_nothing(house: Api) -> None:
    inside = {"code": "YARD", "kind": "site", "parent": "HALL"}

    refused = house.refuse("/locations", inside, 422, "invalid")
    later = problem(patch(house, "C-01", {"kind": "site"}), 422, "invalid")

    assert refused["errors"][0]["pointer"] == later["errors"][0]["pointer"] == "#/parent"
    problem(house.send("GET", "/locations/YARD"), 404, "not-found")


def test_a_whole_that_is_not_known_is_named(house: Api) -> None:
    new = {"code": "Z", "kind": "bay", "parent": "NOWHERE"}

    refused = house.refuse("/locations", new, 422, "unknown-reference")

    assert refused["errors"][0]["pointer"] == "#/parent"


@pytest.mark.parametrize(
    ("place", "parent", "circle"),
    [
        ("C-01", "C-01", "C-01 > C-01"),
        ("HALL", "C-01-2", "HALL > C-01 > C-01-2 > HALL"),
        ("C-01", "C-01-1", "C-01 > C-01-1 > C-01"),
    ],
)
def test_places_do_not_go_round_in_a_circle(
    house: Api, place: str, parent: str, circle: str
) -> None:
    refused = problem(patch(house, place, {"parent": parent}), 422, "invalid")

    assert refused["errors"][0]["pointer"] == "#/parent"
    assert refused["detail"].endswith(f": {circle}")
    assert house.get("/locations/C-01-2")["path"] == ["QUAY", "HALL", "C-01", "C-01-2"]


def test_a_place_where_nothing_ever_stood_can_become_part_of_another(house: Api) -> None:
    changed = patch(house, "C-01-1", {"parent": "B-02"})
    assert (changed.status_code, changed.json()["path"]) == (200, ["B-02", "C-01-1"])

    freed = patch(house, "C-01-1", {"parent": None}).json()

    assert (freed["parent"], freed["path"]) == (None, ["C-01-1"])


@pytest.mark.parametrize("place", ["C-01-1", "C-01", "HALL"])
def test_once_coffee_stood_there_or_below_a_place_stays_where_it_is(
    house: Api, put: Put, place: str
) -> None:
    [sack] = put("C-01-1", 60)
    house.post("/moves", {"sacks": [sack], "to": "A-01"})

    refused = problem(patch(house, place, {"parent": "B-02"}), 409, "place-in-use")

    assert refused["location"] == place
    assert "enter a new place and move" in refused["detail"]
    assert house.get("/locations/C-01-1")["path"] == ["QUAY", "HALL", "C-01", "C-01-1"]


def test_saying_again_what_a_used_place_is_part_of_changes_nothing(house: Api, put: Put) -> None:
    put("C-01-1", 60)

    changed = patch(house, "C-01-1", {"parent": "c-01", "site": "Quay shed"})

    assert changed.status_code == 200
    assert (changed.json()["parent"], changed.json()["site"]) == ("C-01", "Quay shed")


def test_a_reader_is_told_that_something_moved_though_the_card_is_the_same(
    house: Api, put: Put
) -> None:
    put("C-01-1", 60)
    before = house.send("GET", "/locations/C-01").headers["etag"]
    assert house.send("GET", "/locations/C-01", If_None_Match=before).status_code == 304
    put("C-01-1", 30)

    after = house.send("GET", "/locations/C-01", If_None_Match=before)

    assert after.status_code == 200
    assert after.headers["etag"] != before


def test_a_change_is_made_on_a_version_of_the_card_whatever_moved_meanwhile(
    house: Api, put: Put
) -> None:
    put("C-01-1", 60)
    read = house.send("GET", "/locations/C-01").headers["etag"]
    put("C-01-1", 30)

    changed = house.send("PATCH", "/locations/C-01", {"site": "Quay"}, If_Match=read)
    stale = house.send("PATCH", "/locations/C-01", {"site": "Hall"}, If_Match=read)

    assert changed.status_code == 200
    problem(stale, 412, "precondition-failed")
    again = house.send(
        "PATCH", "/locations/C-01", {"site": "Hall"}, If_Match=changed.headers["etag"]
    )
    assert again.status_code == 200
