"""Silos, hoppers and trays: tipping in, what is in them, pouring out, cleaning."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.makers import PASSING, furnish, pack, receive, roast, sack_codes


def day(hour: int) -> str:
    return f"2026-03-05T{hour:02d}:00:00Z"


@pytest.fixture(autouse=True)
def silo(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A silo for 60 kg with 20 kg of one roast and 10 kg of another in it, and a shelf."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    api.post("/locations", {"code": "SILO-1", "kind": "silo", "capacity_kg": 60})
    api.post("/locations", {"code": "TRAY-1", "kind": "tray"})
    roast(api, {sacks[0]: 24}, 20, code="ROAST-A", to="silo-1", roasted_at=day(6))
    roast(api, {sacks[1]: 12}, 10, code="ROAST-B", to="silo-1", roasted_at=day(7))
    yield sacks
    book_is_sound()


def left(api: Api, *codes: str) -> list[Any]:
    return [api.get(f"/units/{code}")["left_kg"] for code in codes]


def contents(api: Api, place: str) -> list[Any]:
    found: list[Any] = api.get(f"/locations/{place}/contents")["items"]
    return found


def from_silo(mass: Any, **more: Any) -> dict[str, Any]:
    return {"parts": [{"place": "SILO-1", "kg": mass}]} | more


def test_coffee_is_tipped_into_a_place_and_stands_there(api: Api) -> None:
    first, second = contents(api, "SILO-1")

    assert first == {
        "unit": "ROAST-A", "kind": "roast", "location": "SILO-1", "kg": 20,
        "share_pct": kg("66.666667"), "happened_at": day(6), "came_at": day(6),
        "disposition": "passed", "held": False, "released": True,
    }  # fmt: skip
    assert (second["unit"], second["kg"], second["share_pct"]) == ("ROAST-B", 10, kg("33.333333"))
    assert api.get("/roasts/ROAST-A")["location"] == "SILO-1"
    assert api.get("/locations/SILO-1")["standing_kg"] == 30
    stays = api.get("/locations/SILO-1/stays")["items"]
    assert [(stay["unit"], stay["came_at"]) for stay in stays] == [
        ("ROAST-A", day(6)), ("ROAST-B", day(7)),
    ]  # fmt: skip


def test_sacks_are_contents_too_and_places_below_count_unless_they_are_left_out(
    api: Api, silo: list[str]
) -> None:
    api.post("/locations", {"code": "A-01-1", "kind": "level", "parent": "A-01"})
    api.post("/moves", {"sacks": silo, "to": "A-01-1"})

    listed = contents(api, "A-01")

    assert [(row["unit"], row["location"], row["kg"]) for row in listed] == [
        (silo[0], "A-01-1", 36), (silo[1], "A-01-1", 48),
    ]  # fmt: skip
    assert listed[0]["disposition"] is None
    assert api.get("/locations/A-01/contents?below=false")["items"] == []
    assert len(api.get("/locations/A-01/contents?limit=1")["items"]) == 1
    problem(api.send("GET", "/locations/NONE/contents"), 404, "not-found")


def test_a_place_takes_no_more_than_its_capacity(api: Api, silo: list[str]) -> None:
    draws = [{"sack": silo[1], "kg": 36}]
    body = {"machine": "DRUM-75", "draws": draws, "to": "SILO-1"} | PASSING

    refused = api.refuse("/roasts", body | {"end_kg": kg("30.001")}, 409, "over-capacity")

    assert (refused["location"], refused["standing_kg"], refused["coming_kg"]) == (
        "SILO-1", 30, kg("30.001"),
    )  # fmt: skip
    assert left(api, silo[1]) == [48]
    assert api.post("/roasts", body | {"end_kg": 30})["location"] == "SILO-1"
    unknown = api.refuse("/roasts", body | {"end_kg": 1, "to": "NONE"}, 422, "unknown-reference")
    assert unknown["errors"][0]["pointer"] == "#/to"


def test_a_blend_out_of_a_silo_takes_of_all_that_is_in_it(api: Api, silo: list[str]) -> None:
    made = api.post("/blends", from_silo(15, to="TRAY-1"))

    assert [(part["unit"], part["kg"]) for part in made["parts"]] == [
        ("ROAST-A", 10), ("ROAST-B", 5),
    ]  # fmt: skip
    assert (made["location"], left(api, "ROAST-A", "ROAST-B")) == ("TRAY-1", [10, 5])
    assert api.get(f"/blends/{made['code']}") == made
    for sack in silo:
        reached = [unit["code"] for unit in api.get(f"/trace/{sack}")["units"]]
        assert made["code"] in reached


def test_bags_are_filled_from_a_place_and_from_units_in_one_run(api: Api, silo: list[str]) -> None:
    other = roast(api, {silo[0]: 12}, 10, to="A-01")["code"]
    sources = [{"place": "SILO-1", "kg": 6}, {"unit": other, "kg": 2}, {"place": "silo-1", "kg": 3}]

    made = api.post("/packs", {"product": "HOUSE-250", "from": sources, "bags": 44})

    assert {part["unit"]: part["kg"] for part in made["from"]} == {
        "ROAST-A": 6, "ROAST-B": 3, other: 2,
    }  # fmt: skip


@pytest.mark.parametrize("source", [{"place": "SILO-2"}, {"unit": "ROAST-C"}])
def test_what_came_into_a_silo_later_is_in_nothing_that_is_corrected(
    api: Api, silo: list[str], source: dict[str, str]
) -> None:
    api.post("/locations", {"code": "SILO-2", "kind": "silo"})
    roast(api, {silo[0]: 12}, 10, code="ROAST-C", to="SILO-2", roasted_at=day(6))
    run = {"product": "HOUSE-250", "packed_at": day(7)}
    api.post("/packs", run | {"code": "P-1", "from": [source | {"kg": 6}], "bags": 24})
    roast(api, {silo[1]: 12}, 10, code="LATER", to="SILO-2", roasted_at=day(9), profile_hit=False)
    api.post("/holds", {"units": ["ROAST-C"], "reason": "a musty bag"})
    again = run | {"corrects": "P-1", "correction_reason": "miscounted", "bags": 20}

    more = api.send("POST", "/packs", again | {"from": [source | {"kg": kg("6.001")}]})
    made = api.post("/packs", again | {"from": [source | {"kg": 6}]})

    assert more.status_code in {409, 422}
    assert [(part["unit"], part["kg"]) for part in made["from"]] == [("ROAST-C", 6)]
    assert left(api, "ROAST-C", "LATER") == [4, 10]


def test_a_correction_that_takes_more_takes_the_rest_of_all_that_is_in_the_silo(api: Api) -> None:
    api.post("/blends", from_silo(15, code="B-1"))
    again = {"corrects": "B-1", "correction_reason": "misread"}

    made = api.post("/blends", from_silo(21, code="B-2", **again))

    assert {part["unit"]: part["kg"] for part in made["parts"]} == {"ROAST-A": 14, "ROAST-B": 7}
    less = again | {"corrects": "B-2"}
    assert api.post("/blends", from_silo(3, **less))["kg"] == 3
    assert left(api, "ROAST-A", "ROAST-B") == [18, 9]


def test_the_last_gram_can_be_poured_and_one_more_is_refused(api: Api) -> None:
    refused = api.refuse("/blends", from_silo(kg("30.001")), 409, "insufficient-stock")

    assert (refused["place"], refused["asked_kg"], refused["left_kg"]) == (
        "SILO-1", kg("30.001"), 30,
    )  # fmt: skip
    assert left(api, "ROAST-A", "ROAST-B") == [20, 10]
    api.post("/blends", from_silo(30))
    assert contents(api, "SILO-1") == []
    api.refuse("/blends", from_silo(kg("0.001")), 409, "insufficient-stock")


def test_one_unit_on_hold_stops_everything_it_has_mixed_with(api: Api) -> None:
    api.post("/holds", {"units": ["ROAST-B"], "reason": "it smells of diesel"})

    # A gram would come off ROAST-A alone: it has mixed all the same.
    refused = api.refuse("/blends", from_silo(kg("0.001")), 409, "on-hold")

    assert (refused["units"], refused["place"]) == (["ROAST-B"], "SILO-1")
    [_, row] = contents(api, "SILO-1")
    assert (row["held"], row["released"]) == (True, False)


def test_one_roast_set_aside_stops_everything_until_it_is_released(
    api: Api, silo: list[str]
) -> None:
    roast(api, {silo[0]: 6}, 5, code="ROAST-C", to="SILO-1", profile_hit=False)

    refused = api.refuse("/blends", from_silo(kg("0.001")), 409, "not-released")

    assert refused["units"] == ["ROAST-C"]
    assert [row["released"] for row in contents(api, "SILO-1")] == [True, True, False]
    api.post("/roasts/ROAST-C/cuppings", {"verdict": "release"})
    assert api.post("/blends", from_silo(35))["kg"] == 35


def test_nothing_is_poured_out_of_a_rack_or_of_a_silo_of_sacks(api: Api, silo: list[str]) -> None:
    api.post("/locations", {"code": "GREEN", "kind": "silo"})
    api.post("/moves", {"sacks": [silo[0]], "to": "GREEN"})
    for place, status, slug, pointer in [
        ("A-01", 422, "invalid", "#/from/1/place"),
        ("NONE", 422, "unknown-reference", "#/from/1/place"),
        ("GREEN", 409, "insufficient-stock", None),
    ]:
        sources = [{"place": "SILO-1", "kg": 1}, {"place": place, "kg": 1}]
        body = {"product": "HOUSE-250", "from": sources, "bags": 1}

        refused = api.refuse("/packs", body, status, slug)

        assert refused.get("errors", [{}])[0].get("pointer") == pointer
    assert left(api, "ROAST-A", "ROAST-B") == [20, 10]


@pytest.mark.parametrize("part", [{}, {"unit": "ROAST-A", "place": "SILO-1"}, {"unit": None}])
def test_a_part_names_either_a_unit_or_a_place(api: Api, part: dict[str, Any]) -> None:
    refused = api.refuse("/blends", {"parts": [part | {"kg": 1}]}, 422, "invalid")

    assert refused["errors"] == [
        {"pointer": "#/parts/0", "detail": "name either a unit or a place"}
    ]


def test_what_has_mixed_is_neither_used_nor_moved_by_itself(api: Api) -> None:
    named = {"parts": [{"unit": "ROAST-A", "kg": 1}]}

    refused = api.refuse("/blends", named, 409, "mixed")

    assert refused["errors"][0]["pointer"] == "#/parts/0/unit"
    assert "ROAST-B" in refused["detail"]
    parted = api.refuse("/moves", {"sacks": ["ROAST-A"], "to": "TRAY-1"}, 409, "mixed")
    assert parted["units"] == ["ROAST-B"]
    assert [row["unit"] for row in contents(api, "SILO-1")] == ["ROAST-A", "ROAST-B"]
    api.post("/moves", {"from": "SILO-1", "to": "TRAY-1"})
    assert [row["unit"] for row in contents(api, "TRAY-1")] == ["ROAST-A", "ROAST-B"]


def test_what_has_mixed_is_neither_written_off_nor_scrapped_by_itself(api: Api) -> None:
    spill = {"unit": "ROAST-B", "kg": -10, "reason": "spill"}
    said = problem(api.send("POST", "/adjustments", spill), 409, "mixed")
    assert (said["location"], said["units"]) == ("SILO-1", ["ROAST-A"])
    scrap = {"verdict": "scrap", "reason": "musty"}
    api.refuse("/roasts/ROAST-B/cuppings", scrap, 409, "mixed")
    assert left(api, "ROAST-A", "ROAST-B") == [20, 10]


def test_what_is_spilled_out_of_a_silo_is_some_of_all_that_is_in_it(api: Api) -> None:
    made = api.post("/locations/SILO-1/adjustments", {"kg": -3, "reason": "spill"})

    assert made["units"] == [{"unit": "ROAST-A", "kg": -2}, {"unit": "ROAST-B", "kg": -1}]
    assert left(api, "ROAST-A", "ROAST-B") == [18, 9]
    more = problem(
        api.send("POST", "/locations/SILO-1/adjustments", {"kg": kg("-27.001"), "reason": "count"}),
        409, "insufficient-stock",
    )  # fmt: skip
    assert (more["asked_kg"], more["left_kg"]) == (kg("27.001"), 27)
    found = {"kg": 1, "reason": "count"}
    again = api.post("/locations/SILO-1/adjustments", found)
    assert (again["kg"], again["warnings"]) == (1, [])
    heavier = api.post("/locations/SILO-1/adjustments", found | {"kg": 9})["warnings"]
    assert [said.split(" comes")[0] for said in heavier] == ["roast ROAST-A", "roast ROAST-B"]
    api.post("/locations/SILO-1/adjustments", {"kg": -9, "reason": "count"})
    api.refuse("/locations/A-01/adjustments", found, 422, "invalid")
    api.refuse("/locations/TRAY-1/adjustments", found, 422, "invalid")
    assert sum(left(api, "ROAST-A", "ROAST-B")) == 28


def test_what_is_alone_in_a_silo_can_be_named(api: Api, silo: list[str]) -> None:
    pack(api, {roast(api, {silo[0]: 6}, 5, to="TRAY-1")["code"]: 5}, bags=20)

    assert contents(api, "TRAY-1") == []


def test_sacks_and_bags_that_stand_on_a_tray_have_mixed_with_nothing(
    api: Api, silo: list[str]
) -> None:
    for made, drawn in (("R-1", silo[0]), ("R-2", silo[1])):
        roast(api, {drawn: 6}, 5, code=made)
    pack(api, {"R-2": 2}, bags=8, code="P-1")
    api.post("/moves", {"sacks": ["P-1", silo[0], "R-1"], "to": "TRAY-1"})

    alone = api.post("/adjustments", {"unit": "R-1", "kg": kg("-0.5"), "reason": "spill"})
    whole = api.post("/locations/TRAY-1/adjustments", {"kg": kg("-0.5"), "reason": "spill"})
    named = api.post("/blends", {"parts": [{"unit": "R-1", "kg": 1}]})
    poured = api.post("/blends", {"parts": [{"place": "TRAY-1", "kg": 3}]})
    moved = api.post("/moves", {"sacks": ["R-1"], "to": "A-01"})

    assert alone["left_kg"] == kg("4.5")
    assert whole["units"] == [{"unit": "R-1", "kg": kg("-0.5")}]
    assert named["kg"] == 1
    assert [part["unit"] for part in poured["parts"]] == ["R-1"]
    assert moved["sacks"] == [{"sack": "R-1", "from": "TRAY-1"}]
    assert left(api, "P-1") == [2]


def test_components_of_a_recipe_are_told_by_what_is_in_the_silo_or_by_word(api: Api) -> None:
    api.post("/recipes", {"name": "Tide", "components": [{"name": "base", "share_pct": 100}]})
    part = {"place": "SILO-1", "kg": 3}

    untold = api.refuse("/blends", {"recipe": "Tide", "parts": [part]}, 422, "invalid")
    other = part | {"component": "rework"}
    torn = {"recipe": "Tide", "parts": [part | {"component": "base"}, other]}
    two = api.refuse("/blends", torn, 422, "invalid")
    made = api.post("/blends", {"recipe": "Tide", "parts": [part | {"component": "base"}]})

    assert untold["errors"][0]["pointer"] == "#/parts/0/component"
    assert two["errors"][0]["pointer"] == "#/parts/1/component"
    assert [part["component"] for part in made["parts"]] == ["base", "base"]


def test_a_voided_blend_gives_back_what_was_poured(api: Api) -> None:
    made = api.post("/blends", from_silo(kg("7.501")))["code"]

    api.post(f"/units/{made}/void", {"reason": "booked twice"})

    assert [row["kg"] for row in contents(api, "SILO-1")] == [20, 10]


def test_a_place_is_cleaned_when_it_is_empty(api: Api) -> None:
    clean = "/locations/silo-1/clean-downs"

    refused = api.refuse(clean, {}, 409, "not-empty")
    assert (refused["location"], refused["units"]) == ("SILO-1", ["ROAST-A", "ROAST-B"])
    assert api.get(clean)["items"] == []

    api.refuse(clean, {"cleaned_at": day(6)}, 409, "not-empty")
    early = api.post(clean, {"cleaned_at": "2026-03-05T05:59:59Z", "note": "brushed"})
    api.post("/blends", from_silo(30, blended_at=day(9)))
    api.refuse(clean, {"cleaned_at": "2026-03-05T08:59:59Z"}, 409, "not-empty")
    late = api.post(clean, {"cleaned_at": day(9)})

    assert early | {"location": "SILO-1", "note": "brushed", "cleaned_by": "admin"} == early
    assert api.get(clean)["items"] == [early, late]
    api.refuse("/locations/NONE/clean-downs", {}, 404, "not-found")


def test_whether_coffee_mixes_at_a_place_stays_once_coffee_stood_there(api: Api) -> None:
    problem(
        api.send("PATCH", "/locations/SILO-1", {"kind": "rack"}, If_Match='"1"'),
        409,
        "place-in-use",
    )
    assert api.send("PATCH", "/locations/SILO-1", {"kind": "hopper"}, If_Match='"1"').is_success
    assert api.send("PATCH", "/locations/TRAY-1", {"kind": "shelf"}, If_Match='"1"').is_success
    assert api.get("/locations/TRAY-1")["carry_over_runs"] is None


def test_only_where_coffee_mixes_is_there_a_window_of_carry_over(api: Api) -> None:
    window = {"carry_over_runs": 3, "carry_over_hours": 48}

    made = api.post("/locations", {"code": "HOP-1", "kind": "hopper"} | window)
    refused = api.refuse("/locations", {"code": "C-01", "kind": "rack"} | window, 422, "invalid")

    assert {name: made[name] for name in window} == window
    assert api.get("/locations/SILO-1")["carry_over_runs"] == 1
    assert refused["errors"][0]["pointer"] == "#/carry_over_runs"
    for runs in (0, 101):
        body = {"code": "HOP-2", "kind": "hopper", "carry_over_runs": runs}
        api.refuse("/locations", body, 422, "invalid")
    emptied = api.send("PATCH", "/locations/HOP-1", {"carry_over_hours": None}, If_Match='"1"')
    assert emptied.json()["carry_over_hours"] is None
