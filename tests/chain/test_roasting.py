"""Drawing green, roasting it, and the gate."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg
from tests.makers import PASSING, blend, furnish, pack, receive, roast, sack_codes


def charge(sack: str, drawn: Any, end: Any, **more: Any) -> dict[str, Any]:
    draws = [{"sack": sack, "kg": drawn}]
    return {"machine": "DRUM-75", "end_kg": end, "draws": draws} | PASSING | more


def test_a_whole_sack_goes_into_the_large_drum(api: Api, book_is_sound: Callable[[], None]) -> None:
    # A large drum takes a whole sack as one batch: common practice, no source.
    furnish(api)
    sack = sack_codes(receive(api, 69, lot="GL-1"))[0]

    made = roast(api, {sack: 69}, end_kg=kg("58.65"), style="filter")

    assert made["charge_kg"] == 69
    assert made["loss_pct"] == 15
    assert made["disposition"] == "passed"
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 0
    assert api.get(f"/roasts/{made['code']}") == made
    book_is_sound()


def test_part_sacks_of_several_lots_go_into_the_small_drum(api: Api) -> None:
    furnish(api)
    one = sack_codes(receive(api, 60))[0]
    other = sack_codes(receive(api, kg("60.2")))[0]

    made = api.post("/roasts", PASSING | {
        "machine": "drum-15", "end_kg": kg("10.2"),
        "draws": [{"sack": one, "kg": kg("7.2")}, {"sack": other, "kg": kg("2.4")},
                  {"sack": other, "kg": kg("2.4")}],
    })  # fmt: skip

    assert made["charge_kg"] == 12
    assert made["draws"] == [{"sack": one, "kg": kg("7.2")}, {"sack": other, "kg": kg("4.8")}]
    assert api.get(f"/sacks/{other}")["on_hand_kg"] == kg("55.4")


def test_the_last_gram_can_be_drawn_and_not_one_more(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]

    refusal = api.refuse("/roasts", charge(sack, kg("60.001"), 50), 409, "insufficient-stock")

    assert refusal["unit"] == sack
    assert refusal["asked_kg"] == kg("60.001")
    assert refusal["left_kg"] == 60
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 60
    assert api.post("/roasts", charge(sack, 60, 51))["charge_kg"] == 60


def test_a_charge_over_the_capacity_is_refused(api: Api) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    over = charge(sacks[0], kg("15.001"), 12, machine="DRUM-15")

    refusal = api.refuse("/roasts", over, 409, "over-capacity")

    assert (refusal["capacity_kg"], refusal["charge_kg"]) == (15, kg("15.001"))
    assert api.post("/roasts", charge(sacks[0], 15, 12, machine="DRUM-15"))["charge_kg"] == 15


def test_nothing_gains_mass_in_a_roaster(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]

    refusal = api.refuse("/roasts", charge(sack, 12, kg("12.001")), 422, "mass-gained")

    assert refusal["errors"][0]["pointer"] == "#/end_kg"


def test_only_a_roaster_roasts_and_only_sacks_are_drawn(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60, lot="GL-1"))[0]

    api.refuse("/roasts", charge(sack, 60, 51, machine="TUMBLER"), 409, "wrong-machine")
    api.refuse("/roasts", charge(sack, 60, 51, machine="NONE"), 422, "unknown-reference")
    api.refuse("/roasts", charge("GL-1", 60, 51), 409, "wrong-kind")


@pytest.mark.parametrize(
    ("drawn", "left", "difference"),
    [("59.2", 0, "-0.8"), ("60.4", 0, "0.4"), ("58.8", 0, "-1.2"), ("61.2", 0, "1.2")],
)
def test_a_sack_that_was_used_up_takes_a_small_difference_with_it(
    api: Api, book_is_sound: Callable[[], None], drawn: str, left: int, difference: str
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    body = charge(sack, kg(drawn), 50)
    body["draws"][0]["emptied"] = True

    made = api.post("/roasts", body)

    assert made["charge_kg"] == kg(drawn)
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == left
    booked = api.get(f"/adjustments?unit={sack}")["items"]
    assert [(line["kg"], line["reason"]) for line in booked] == [
        (kg(difference), "draw_difference")
    ]
    book_is_sound()


@pytest.mark.parametrize("drawn", ["58.799", "61.201"])
def test_a_larger_difference_is_refused(api: Api, drawn: str) -> None:
    # 2 % of 60 kg is 1.2 kg.
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    body = charge(sack, kg(drawn), 50)
    body["draws"][0]["emptied"] = True

    refusal = api.refuse("/roasts", body, 409, "emptied-beyond-tolerance")

    assert refusal["left_kg"] == 60
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 60


def test_an_emptied_sack_that_fits_books_no_difference(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    body = charge(sack, 60, 51)
    body["draws"][0]["emptied"] = True

    api.post("/roasts", body)

    assert api.get("/adjustments")["items"] == []


@pytest.mark.parametrize(
    ("change", "missed"),
    [
        ({}, []),
        ({"colour": 63}, []),
        ({"colour": kg("63.001")}, ["colour"]),
        ({"colour": 57}, []),
        ({"colour": kg("56.9")}, ["colour"]),
        ({"colour": kg("60.5"), "colour_tolerance": kg("0.5")}, []),
        ({"colour": None}, ["colour"]),
        ({"colour_target": None}, ["colour"]),
        ({"profile_hit": False}, ["profile"]),
        ({"profile_hit": None}, ["profile"]),
        ({"loss_range_pct": [12, 15]}, []),
        ({"loss_range_pct": [15, 18]}, []),
        ({"loss_range_pct": [kg("15.001"), 18]}, ["end_weight"]),
        ({"loss_range_pct": [12, kg("14.999")]}, ["end_weight"]),
        ({"loss_range_pct": None}, []),
        ({"profile_hit": False, "colour": 70}, ["profile", "colour"]),
    ],
)
def test_what_misses_or_lacks_a_check_is_set_aside(
    api: Api, change: dict[str, Any], missed: list[str]
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]

    made = api.post("/roasts", charge(sack, 60, 51, colour_tolerance=3) | change)

    assert made["disposition"] == ("set_aside" if missed else "passed")
    assert [check["check"] for check in made["checks"] if not check["passed"]] == missed
    assert all(check["detail"] for check in made["checks"])


def test_set_aside_coffee_is_tasted_before_it_is_blended_or_packed(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    made = api.post("/roasts", charge(sack, 60, 51, profile_hit=False))
    part = {"unit": made["code"], "kg": 20}

    api.refuse("/blends", {"parts": [part]}, 409, "not-released")
    refusal = api.refuse(
        "/packs", {"product": "HOUSE-250", "from": [part], "bags": 80}, 409, "not-released"
    )
    waiting = api.get("/roasts?disposition=set_aside")["items"]
    cupped = api.post(
        f"/roasts/{made['code']}/cuppings",
        {"verdict": "release", "score": kg("84.25"), "notes": "sweet, clean"},
    )

    assert refusal["units"] == [made["code"]]
    assert [row["code"] for row in waiting] == [made["code"]]
    assert cupped["disposition"] == "released"
    assert cupped["score"] == kg("84.25")
    assert api.get(f"/roasts/{made['code']}")["disposition"] == "released"
    assert api.get(f"/roasts/{made['code']}/cuppings")["items"] == [cupped]
    assert pack(api, {made["code"]: 20}, bags=80)["bags"] == 80
    book_is_sound()


def test_a_rejection_is_for_good(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    made = roast(api, {sack: 60}, end_kg=51)
    where = f"/roasts/{made['code']}/cuppings"

    rejected = api.post(where, {"verdict": "reject"})

    assert rejected["disposition"] == "rejected"
    api.refuse(where, {"verdict": "release"}, 409, "not-set-aside")
    api.refuse("/blends", {"parts": [{"unit": made["code"], "kg": 1}]}, 409, "not-released")
    api.post("/adjustments", {"unit": made["code"], "kg": -51, "reason": "destroyed"})
    assert api.get(f"/roasts/{made['code']}")["left_kg"] == 0


@pytest.mark.parametrize("score", [kg("100.1"), -1, "84", kg("84.0001"), True])
def test_a_score_is_a_number_from_0_to_100(api: Api, score: Any) -> None:
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, end_kg=51)

    refusal = api.refuse(
        f"/roasts/{made['code']}/cuppings", {"verdict": "release", "score": score}, 422, "invalid"
    )

    assert refusal["errors"][0]["pointer"] == "#/score"


def test_only_roasts_are_cupped(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    mixed = blend(api, {roast(api, {sack: 60}, end_kg=51)["code"]: 51})

    api.refuse(f"/roasts/{mixed['code']}/cuppings", {"verdict": "release"}, 409, "wrong-kind")
    api.refuse("/roasts/NONE/cuppings", {"verdict": "release"}, 404, "unknown-code")


def test_a_hold_on_a_lot_holds_its_sacks_and_a_release_frees_them(api: Api) -> None:
    furnish(api)
    one = sack_codes(receive(api, 60, lot="GL-1"))[0]
    free = sack_codes(receive(api, 60, lot="GL-2"))[0]

    placed = api.post("/holds", {"units": ["gl-1"], "reason": "earthy smell"})
    refusal = api.refuse("/roasts", charge(one, 60, 51), 409, "on-hold")

    assert refusal["units"] == [one]
    assert api.get(f"/sacks/{one}")["held"] is True
    assert api.get(f"/sacks/{free}")["held"] is False
    assert roast(api, {free: 60}, end_kg=51)["held"] is False
    ended = api.post(f"/holds/{placed['id']}/release", {"reason": "cupped clean"})
    assert ended["release_reason"] == "cupped clean"
    assert roast(api, {one: 60}, end_kg=51)["charge_kg"] == 60
    api.refuse(f"/holds/{placed['id']}/release", {"reason": "again"}, 409, "already-done")
    api.refuse("/holds/999/release", {"reason": "none"}, 404, "not-found")


def test_two_holds_must_both_be_released(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60, lot="GL-1"))[0]
    lot_hold = api.post("/holds", {"units": ["GL-1"], "reason": "smell"})
    api.post("/holds", {"units": [sack], "reason": "wet"})

    api.post(f"/holds/{lot_hold['id']}/release", {"reason": "clean"})

    api.refuse("/roasts", charge(sack, 60, 51), 409, "on-hold")
    assert [hold["units"] for hold in api.get("/holds?open=true")["items"]] == [[sack]]
