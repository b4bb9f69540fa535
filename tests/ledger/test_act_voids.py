"""Taking back acts that made no unit: adjustments, clean-downs, cuppings, checks of weight."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.makers import PASSING, blend, furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, at_once

SLIP = {"reason": "typed in by mistake"}


@pytest.fixture
def green(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A sack of 60 kg in a furnished roastery."""
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    yield sack
    book_is_sound()


def adjust(api: Api, unit: str, kilograms: str, reason: str = "sample") -> None:
    api.post("/adjustments", {"unit": unit, "kg": kg(kilograms), "reason": reason})


def left(api: Api, unit: str) -> Any:
    return api.get(f"/units/{unit}")["left_kg"]


def test_an_adjustment_is_taken_back_by_one_that_reverses_it_and_both_are_shown(
    api: Api, green: str
) -> None:
    adjust(api, green, "-0.35")

    said = api.post("/adjustments/1/void", SLIP)

    assert (said["id"], said["unit"], said["kg"], said["left_kg"]) == (1, green, kg("0.35"), 60)
    lines = api.get(f"/adjustments?unit={green}")["items"]
    assert [(line["voided"], line["reverses"]) for line in lines] == [(True, None), (False, 1)]
    assert [line["note"] for line in lines] == [None, SLIP["reason"]]
    entry = api.get("/entries?limit=500")["items"][-1]
    assert (entry["kind"], entry["reverses"]) == ("void", said["entry"] - 1)
    api.refuse("/adjustments/1/void", SLIP, 409, "already-done")
    api.refuse("/adjustments/2/void", SLIP, 409, "not-voidable")
    api.refuse("/adjustments/3/void", SLIP, 404, "not-found")
    assert left(api, green) == 60


@pytest.mark.parametrize(("drawn", "fits"), [("60", True), ("60.001", False)])
def test_an_adjustment_is_not_taken_back_below_nothing(
    api: Api, green: str, drawn: str, fits: bool
) -> None:
    adjust(api, green, "1.5", "count")
    roast(api, {green: kg(drawn)}, 50)

    answer = api.send("POST", "/adjustments/1/void", SLIP)

    assert answer.status_code == (201 if fits else 409)
    if not fits:
        refusal = problem(answer, 409, "insufficient-stock")
        assert (refusal["asked_kg"], refusal["left_kg"]) == (kg("1.5"), kg("1.499"))
    assert left(api, green) == (0 if fits else kg("1.499"))


def test_what_another_act_adjusted_is_undone_with_that_act(api: Api, green: str) -> None:
    body = {"machine": "DRUM-75", "end_kg": 50, "code": "R-1"}
    api.post("/roasts", body | {"draws": [{"sack": green, "kg": kg("59.5"), "emptied": True}]})

    refusal = api.refuse("/adjustments/1/void", SLIP, 409, "not-voidable")

    assert "roast" in refusal["detail"]
    adjust(api, "R-1", "-1", "spill")
    api.post("/units/R-1/void", SLIP)
    api.refuse("/adjustments/2/void", SLIP, 409, "voided")


def test_a_count_of_before_a_void_is_not_booked_after_it(
    api: Api, api_as: Callable[..., Api], green: str
) -> None:
    adjust(api, green, "-0.35")
    number = api.post("/counts", {"lot": "GL-1"})["id"]
    api.post(f"/counts/{number}/lines", {"lines": [{"sack": green, "kg": 60}]})
    api.post("/adjustments/1/void", SLIP)
    api.post(f"/counts/{number}/close", None)

    answer = api_as("quality").send("POST", f"/counts/{number}/approve", {})

    assert problem(answer, 409, "count-outdated")["units"] == [green]
    assert left(api, green) == 60


def test_a_clean_down_that_never_was_stays_marked(api: Api, green: str) -> None:
    one, other = (api.post("/machines/DRUM-75/clean-downs", {})["id"] for _ in range(2))

    said = api.post(f"/machines/DRUM-75/clean-downs/{one}/void", SLIP)

    assert (said["id"], said["of"], said["open_holds"]) == (one, "DRUM-75", [])
    lines = api.get("/machines/DRUM-75/clean-downs")["items"]
    assert [(line["id"], line["voided"], line["void_reason"]) for line in lines] == [
        (one, True, SLIP["reason"]), (other, False, None),
    ]  # fmt: skip
    api.refuse(f"/machines/DRUM-75/clean-downs/{one}/void", SLIP, 409, "already-done")
    api.refuse(f"/machines/DRUM-15/clean-downs/{other}/void", SLIP, 404, "not-found")
    assert green


def test_a_clean_down_of_a_silo_that_never_was_lets_carry_over_go_on(api: Api, green: str) -> None:
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    roast(api, {green: 10}, 8, code="R-1", to="SILO-1", roasted_at="2026-03-03T08:00:00Z")
    into = {"unit": "R-1", "kg": 8}
    api.post("/blends", {"parts": [into], "blended_at": "2026-03-03T09:00:00Z"})
    asked = {"cleaned_at": "2026-03-03T10:00:00Z"}
    number = api.post("/locations/SILO-1/clean-downs", asked)["id"]
    before = api.get("/entries?limit=500")["items"][-1]["recorded_at"]
    later = {"machine": "DRUM-15", "roasted_at": "2026-03-03T11:00:00Z"}
    roast(api, {green: 10}, 8, code="R-2", to="SILO-1", **later)
    booked = api.get("/entries?limit=500")["items"][-1]["recorded_at"]
    ask = "/trace/R-1?carry_over=true"
    assert api.get(ask)["possible_contact"] == []

    api.post(f"/locations/SILO-1/clean-downs/{number}/void", SLIP)

    assert [unit["code"] for unit in api.get(ask)["possible_contact"]] == ["R-2"]
    assert api.get(f"{ask}&as_of={booked}")["possible_contact"] == []
    assert api.get(f"{ask}&as_of={before}")["possible_contact"] == []
    assert api.get("/locations/SILO-1/clean-downs")["items"][0]["voided"] is True


def cup(api: Api, roast_code: str, verdict: str) -> int:
    number: int = api.post(f"/roasts/{roast_code}/cuppings", {"verdict": verdict})["id"]
    return number


def disposition(api: Api, roast_code: str) -> Any:
    return api.get(f"/roasts/{roast_code}")["disposition"]


def test_once_a_verdict_is_taken_back_the_one_before_it_stands_again(api: Api, green: str) -> None:
    roast(api, {green: 10}, 8, code="R-1", profile_hit=False)
    cup(api, "R-1", "release")
    wrong = cup(api, "R-1", "reject")
    stood = disposition(api, "R-1")

    api.post(f"/roasts/R-1/cuppings/{wrong}/void", SLIP)

    assert (stood, disposition(api, "R-1")) == ("rejected", "released")
    lines = api.get("/roasts/R-1/cuppings")["items"]
    assert [line["voided"] for line in lines] == [False, True]
    blend(api, {"R-1": 1})
    api.refuse(f"/roasts/R-1/cuppings/{wrong}/void", SLIP, 409, "already-done")


def test_a_release_is_not_taken_back_while_coffee_is_used_that_it_alone_let_go(
    api: Api, green: str
) -> None:
    roast(api, {green: 10}, 8, code="R-1", profile_hit=False)
    first = cup(api, "R-1", "release")
    blend(api, {"R-1": 1}, code="B-1")

    refusal = api.refuse(f"/roasts/R-1/cuppings/{first}/void", SLIP, 409, "has-dependants")
    still = disposition(api, "R-1")
    second = cup(api, "R-1", "release")
    api.post(f"/roasts/R-1/cuppings/{first}/void", SLIP)
    api.refuse(f"/roasts/R-1/cuppings/{second}/void", SLIP, 409, "has-dependants")
    api.post("/units/B-1/void", SLIP)
    api.post(f"/roasts/R-1/cuppings/{second}/void", SLIP)

    assert (refusal["dependants"], still) == (["B-1"], "released")
    assert disposition(api, "R-1") == "set_aside"
    api.refuse("/blends", {"parts": [{"unit": "R-1", "kg": 1}]}, 409, "not-released")


def test_taking_back_a_verdict_that_was_carried_over_leaves_the_roast_as_it_was_corrected(
    api: Api, green: str
) -> None:
    drawn = {"sack": green, "emptied": True}
    body = {"machine": "DRUM-75", "end_kg": 50} | PASSING
    api.post("/roasts", body | {"code": "R-1", "draws": [drawn | {"kg": kg("59.5")}]})
    cup(api, "R-1", "reject")
    right = {"code": "R-2", "corrects": "R-1", "correction_reason": "mistyped"}
    api.post("/roasts", body | {"draws": [drawn | {"kg": kg("59.8")}]} | right)
    [carried] = api.get("/roasts/R-2/cuppings")["items"]

    api.post(f"/roasts/R-2/cuppings/{carried['id']}/void", SLIP)

    assert (disposition(api, "R-2"), left(api, green)) == ("passed", 0)
    api.post("/units/R-2/void", SLIP)
    assert left(api, green) == 60


def test_a_check_of_weight_that_never_was_is_shown_and_its_hold_stays(api: Api, green: str) -> None:
    roast(api, {green: 10}, 8, code="R-1")
    pack(api, {"R-1": 5}, 20, code="P-1")
    check = api.post("/packs/P-1/check-weighings", {"weights_g": [200] * 20})

    said = api.post(f"/check-weighings/{check['id']}/void", SLIP)

    assert (said["of"], said["open_holds"]) == ("P-1", [check["hold"]])
    shown = api.get(f"/check-weighings/{check['id']}")
    assert (check["voided"], shown["voided"], shown["void_reason"]) == (
        False, True, SLIP["reason"],
    )  # fmt: skip
    assert api.get("/packs/P-1")["held"] is True
    api.refuse("/check-weighings/9/void", SLIP, 404, "not-found")


@pytest.mark.usefixtures("green")
def test_who_may_not_taste_takes_no_verdict_back(api_as: Callable[..., Api]) -> None:
    answer = api_as("roaster").send("POST", "/roasts/R-1/cuppings/1/void", SLIP)

    assert problem(answer, 403, "forbidden")["permission"] == "roasts:cup"


def test_an_adjustment_is_taken_back_once_though_two_do_it_at_once(wire: Wire, sack: str) -> None:
    wire.post("/adjustments", {"unit": sack, "kg": -1, "reason": "spill"})

    answers = at_once([partial(wire.post, "/adjustments/1/void", SLIP)] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 10
