"""Correcting in one act: the mistaken unit is voided and the right one booked in one entry."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from app.shared.staff import GRANTS, Permission
from tests.api import Api, kg
from tests.makers import PASSING, blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, at_once


@pytest.fixture
def chain(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A sack of 60 kg, and of it a roast, a blend, a pack, a dispatch and bags that came back."""
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    roast(api, {sack: 30}, kg("25.5"), code="R-1", roasted_at="2026-03-03T08:00:00Z")
    blend(api, {"R-1": 10}, code="B-1")
    pack(api, {"B-1": 5}, 20, code="P-1")
    dispatch(api, {"P-1": 12}, code="D-1")
    back = {"dispatch": "D-1", "lines": [{"pack": "P-1", "bags": 2}], "reason": "torn"}
    api.post("/returns", back | {"code": "T-1"})
    yield sack
    book_is_sound()


def instead(code: str, **more: Any) -> dict[str, Any]:
    return {"corrects": code, "correction_reason": "mistyped"} | more


def shown(api: Api, code: str) -> Any:
    return api.get(f"/units/{code}")


def left(api: Api, code: str) -> Any:
    return shown(api, code)["left_kg"]


def test_a_charge_that_was_mistyped_is_corrected_and_the_loss_with_it(api: Api) -> None:
    # Shrink of 30.00 to 25.50 and of 30.50 to 25.50: simple arithmetic, 4.50/30.00 and 5.00/30.50.
    furnish(api)
    (sack,) = sack_codes(receive(api, 60))
    wrong = roast(api, {sack: 30}, kg("25.5"), roasted_at="2026-03-03T08:00:00Z")

    right = roast(api, {sack: kg("30.5")}, kg("25.5"), **instead(wrong["code"]))

    assert [wrong["loss_pct"], round(right["loss_pct"], 2)] == [15, kg("16.39")]
    assert right["roasted_at"] == wrong["roasted_at"]
    assert left(api, sack) == kg("29.5")
    assert (left(api, wrong["code"]), left(api, right["code"])) == (0, kg("25.5"))
    forward = api.get(f"/trace/{sack}")
    assert [unit["code"] for unit in forward["units"]] == [sack, right["code"]]
    assert forward["balance"]["roasting_loss_kg"] == 5


@pytest.mark.usefixtures("chain")
def test_old_and_new_name_each_other_and_the_journal_has_one_entry(api: Api) -> None:
    before = len(api.get("/entries?limit=500")["items"])

    api.post("/returns", {
        "code": "T-2", "dispatch": "D-1", "lines": [{"pack": "P-1", "bags": 3}], "reason": "torn",
    } | instead("T-1"))  # fmt: skip

    entries = api.get("/entries?limit=500")["items"]
    assert len(entries) == before + 1
    assert (entries[-1]["kind"], entries[-1]["reverses"]) == ("return", before)
    old, new = shown(api, "T-1"), shown(api, "T-2")
    assert (old["voided"], old["replaced_by"], old["replaces"]) == (True, "T-2", [])
    assert (new["voided"], new["replaced_by"], new["replaces"]) == (False, None, ["T-1"])
    refusal = api.refuse("/holds", {"units": ["T-1"], "reason": "wet"}, 409, "voided")
    assert refusal["replaced_by"] == "T-2"
    assert "replaced by T-2" in refusal["detail"]


def test_every_act_of_the_chain_can_be_corrected_the_youngest_first(api: Api, chain: str) -> None:
    again = {"dispatch": "D-1", "lines": [{"pack": "P-1", "bags": 12}], "reason": "all of it"}
    api.post("/returns", again | {"code": "T-2"} | instead("T-1"))
    api.post("/units/T-2/void", {"reason": "nothing came back"})
    dispatch(api, {"P-1": 20}, code="D-2", **instead("D-1"))
    api.post("/units/D-2/void", {"reason": "never left"})
    pack(api, {"B-1": 10}, 40, code="P-2", **instead("P-1"))
    api.post("/units/P-2/void", {"reason": "never packed"})
    blend(api, {"R-1": kg("25.5")}, code="B-2", **instead("B-1"))
    api.post("/units/B-2/void", {"reason": "never blended"})
    roast(api, {chain: 60}, 51, code="R-2", **instead("R-1"))

    assert (left(api, chain), left(api, "R-2")) == (0, 51)
    assert shown(api, "R-1")["replaced_by"] == "R-2"


def test_a_correction_of_a_correction_undoes_its_own_adjustments_alone(api: Api) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60))
    body = {"machine": "DRUM-75", "end_kg": 50} | PASSING
    said = [{"sack": sack, "kg": kg("59.1"), "emptied": True}]
    api.post("/roasts", body | {"draws": said, "code": "R-1"})
    said = [{"sack": sack, "kg": kg("60.2"), "emptied": True}]
    api.post("/roasts", body | {"draws": said, "code": "R-2"} | instead("R-1"))
    emptied = left(api, sack)

    roast(api, {sack: 50}, 42, code="R-3", **instead("R-2"))
    corrected = left(api, sack)
    api.post("/units/R-3/void", {"reason": "never was"})

    assert (emptied, corrected, left(api, sack)) == (0, 10, 60)
    booked = api.get(f"/adjustments?unit={sack}")["items"]
    assert [line["kg"] for line in booked] == [kg("-0.9"), kg("0.9"), kg("0.2"), kg("-0.2")]
    assert [line["reverses"] for line in booked] == [None, 1, None, 3]


@pytest.mark.parametrize(("asked", "fits"), [("59.999", True), ("60", True), ("60.001", False)])
def test_what_the_old_one_gives_back_is_there_for_the_new_one_to_the_last_gram(
    api: Api, asked: str, fits: bool
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60))
    roast(api, {sack: 59}, 50, code="R-1")
    draws = [{"sack": sack, "kg": kg(asked)}]
    body = {"machine": "DRUM-75", "draws": draws, "end_kg": 50} | PASSING | instead("R-1")

    answer = api.send("POST", "/roasts", body)

    assert answer.status_code == (201 if fits else 409)
    assert shown(api, "R-1")["voided"] is fits
    if not fits:
        refusal = api.refuse("/roasts", body, 409, "insufficient-stock")
        assert (refusal["asked_kg"], refusal["left_kg"]) == (kg("60.001"), 60)


@pytest.mark.parametrize(
    ("corrects", "slug"), [("R-1", "has-dependants"), ("B-1", "wrong-kind"), ("R-0", "voided")]
)
def test_a_correction_is_refused_for_another_kind_a_voided_unit_and_what_was_used(
    api: Api, chain: str, corrects: str, slug: str
) -> None:
    roast(api, {chain: 1}, 1, code="R-0")
    api.post("/units/R-0/void", {"reason": "a slip"})
    draws = [{"sack": chain, "kg": 5}]
    body = {"machine": "DRUM-75", "draws": draws, "end_kg": 4} | PASSING | instead(corrects)
    entries = api.get("/entries?limit=500")["items"]

    refusal = api.refuse("/roasts", body, 409, slug)

    assert corrects in refusal["detail"]
    assert refusal.get("dependants") == (["B-1"] if slug == "has-dependants" else None)
    assert api.get("/entries?limit=500")["items"] == entries
    assert left(api, chain) == 30


@pytest.mark.usefixtures("chain")
def test_a_correction_says_what_was_wrong_and_is_not_made_of_what_it_voids(api: Api) -> None:
    body = {"parts": [{"unit": "R-1", "kg": 1}]}
    api.refuse("/blends", body | {"corrects": "B-1"}, 422, "invalid")
    api.refuse("/blends", body | {"correction_reason": "mistyped"}, 422, "invalid")
    api.refuse("/blends", body | instead("B-9"), 404, "unknown-code")
    blend(api, {"R-1": 2}, code="B-2")

    own = {"parts": [{"unit": "B-2", "kg": 1}]} | instead("B-2")

    assert "B-2" in api.refuse("/blends", own, 409, "voided")["detail"]
    assert left(api, "B-2") == 2


@pytest.mark.usefixtures("chain")
def test_a_hold_and_a_rejection_go_on_for_what_replaces_a_roast_and_a_release_does_not(
    api: Api, chain: str
) -> None:
    missed = {"profile_hit": False}
    for code, verdict in (("R-A", "reject"), ("R-B", "release")):
        roast(api, {chain: 5}, kg("4.2"), code=code, **missed)
        api.post(f"/roasts/{code}/cuppings", {"verdict": verdict})
        api.post("/holds", {"units": [code], "reason": "smells of diesel"})
        api.post("/moves", {"sacks": [code], "to": "B-02"})

    rejected = roast(api, {chain: 5}, kg("4.1"), code="R-A2", **missed, **instead("R-A"))
    released = roast(api, {chain: 5}, kg("4.1"), code="R-B2", **missed, **instead("R-B"))

    assert (rejected["held"], released["held"]) == (True, True)
    assert api.get("/roasts/R-A2")["disposition"] == "rejected"
    assert api.get("/roasts/R-B2")["disposition"] == "set_aside"
    assert [shown(api, code)["location"] for code in ("R-A2", "R-B2")] == ["B-02", "B-02"]
    stays = api.get("/locations/B-02/stays")["items"]
    assert [stay["unit"] for stay in stays] == ["R-A2", "R-B2"]


def test_a_held_sack_is_drawn_no_more_by_a_correction_than_before(api: Api, chain: str) -> None:
    roast(api, {chain: 10}, 8, code="R-2")
    api.post("/holds", {"units": [chain], "reason": "a smell of diesel"})
    body = {"machine": "DRUM-75", "end_kg": 8} | PASSING | instead("R-2")

    more = body | {"draws": [{"sack": chain, "kg": kg("10.001")}]}
    refusal = api.refuse("/roasts", more, 409, "on-hold")
    roast(api, {chain: 10}, kg("8.5"), code="R-3", **instead("R-2"))

    assert refusal["units"] == [chain]
    assert (left(api, chain), left(api, "R-3")) == (20, kg("8.5"))


@pytest.mark.usefixtures("chain")
def test_a_rejected_roast_gives_a_correction_no_more_than_it_had_given(api: Api) -> None:
    pack(api, {"R-1": 5}, 20, code="P-9")
    api.post("/roasts/R-1/cuppings", {"verdict": "reject", "reason": "baked"})
    body = {"product": "HOUSE-250", "bags": 19} | instead("P-9")

    more = [{"unit": "R-1", "kg": kg("5.001")}]
    api.refuse("/packs", body | {"from": more}, 409, "not-released")
    made = api.post("/packs", body | {"from": [{"unit": "R-1", "kg": 5}]})

    assert (made["bags"], left(api, "R-1")) == (19, kg("10.5"))


def test_one_mistake_is_corrected_once_though_two_do_it_at_once(wire: Wire, sack: str) -> None:
    body = {"machine": "DRUM-75", "draws": [{"sack": sack, "kg": 6}], "end_kg": 5}
    wrong = wire.post("/roasts", body).json()["code"]

    answers = at_once([partial(wire.post, "/roasts", body | instead(wrong))] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 4


def test_whoever_may_book_an_act_may_correct_it() -> None:
    acts = {
        Permission.ROAST, Permission.BLEND, Permission.PACK, Permission.DISPATCH, Permission.RETURN,
    }  # fmt: skip

    for role, granted in GRANTS.items():
        assert not granted & acts or Permission.VOID in granted, role
