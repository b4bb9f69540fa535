"""Blending, packing, dispatching and taking back."""

from collections.abc import Callable

import pytest

from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes


@pytest.fixture
def roasts(api: Api) -> list[str]:
    """Two released roasts of 51 kg."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-1"))
    return [roast(api, {sack: 60}, end_kg=51)["code"] for sack in sacks]


def test_a_blend_says_its_shares_and_weighs_what_its_parts_weigh(
    api: Api, roasts: list[str], book_is_sound: Callable[[], None]
) -> None:
    mixed = blend(api, {roasts[0]: 15, roasts[1]: 10}, machine="TUMBLER", recipe="House 3:2")

    assert mixed["kg"] == 25
    assert [(part["unit"], part["kg"], part["share_pct"]) for part in mixed["parts"]] == [
        (roasts[0], 15, 60), (roasts[1], 10, 40),
    ]  # fmt: skip
    assert api.get(f"/blends/{mixed['code']}") == mixed
    assert api.get(f"/roasts/{roasts[1]}")["left_kg"] == 41
    book_is_sound()


def test_blends_are_blended_again(api: Api, roasts: list[str]) -> None:
    first = blend(api, {roasts[0]: 10, roasts[1]: 20})

    second = blend(api, {first["code"]: 3, roasts[0]: 1})

    assert [part["share_pct"] for part in second["parts"]] == [75, 25]
    thirds = blend(api, {first["code"]: 2, roasts[0]: 1})
    assert [part["share_pct"] for part in thirds["parts"]] == [kg("66.666667"), kg("33.333333")]


def test_a_blend_takes_no_more_than_is_there(api: Api, roasts: list[str]) -> None:
    body = {"parts": [{"unit": roasts[0], "kg": 10}, {"unit": roasts[1], "kg": kg("51.001")}]}

    refusal = api.refuse("/blends", body, 409, "insufficient-stock")

    assert refusal["unit"] == roasts[1]
    assert api.get(f"/roasts/{roasts[0]}")["left_kg"] == 51


def test_green_is_not_blended_and_a_blender_blends(api: Api, roasts: list[str]) -> None:
    sack = api.get("/sacks")["items"][0]["code"]

    api.refuse("/blends", {"parts": [{"unit": sack, "kg": 1}]}, 409, "wrong-kind")
    api.refuse(
        "/blends",
        {"machine": "DRUM-75", "parts": [{"unit": roasts[0], "kg": 1}]}, 409, "wrong-machine",
    )  # fmt: skip


def test_bags_carry_a_lot_mark_and_a_best_before(api: Api, roasts: list[str]) -> None:
    # "Lot mark preceded by the letter L": Directive 2011/91/EU, article 4.
    made = pack(
        api, {roasts[0]: kg("12.5")}, bags=50, machine="LINE-1",
        packed_at="2026-03-04T10:00:00Z", film_roll="FR-7781",
    )  # fmt: skip

    assert made["packed_kg"] == kg("12.5")
    assert made["best_before"] == "2027-03-04"
    assert made["lot_mark"] == f"L {made['code']}"
    assert made["film_roll"] == "FR-7781"
    assert made["loss_kg"] == 0
    assert api.get(f"/packs/{made['code']}") == made
    unlabelled = pack(
        api, {roasts[0]: 4}, bags=2, sku="HOUSE-2000", packed_at="2026-03-04T10:00:00Z",
        best_before="2026-12-24",
    )  # fmt: skip
    assert unlabelled["best_before"] == "2026-12-24"
    assert pack(api, {roasts[0]: 2}, bags=1, sku="HOUSE-2000")["best_before"] is None


def test_bags_do_not_hold_more_than_was_brought(api: Api, roasts: list[str]) -> None:
    body = {"product": "HOUSE-250", "from": [{"unit": roasts[0], "kg": kg("12.499")}], "bags": 50}

    refusal = api.refuse("/packs", body, 422, "mass-gained")

    assert refusal["errors"][0]["pointer"] == "#/bags"
    assert api.get(f"/roasts/{roasts[0]}")["left_kg"] == 51


def test_what_goes_in_and_is_in_no_bag_is_shown_as_lost(api: Api, roasts: list[str]) -> None:
    made = pack(api, {roasts[0]: kg("12.6")}, bags=50)

    balance = api.get(f"/trace/{roasts[0]}")["balance"]

    assert made["loss_kg"] == kg("0.1")
    assert balance["packing_loss_kg"] == kg("0.1")
    assert balance["packed_left_kg"] == kg("12.5")
    assert balance["accounted_pct"] == 100


def test_bags_are_sent_until_none_is_left(
    api: Api, roasts: list[str], book_is_sound: Callable[[], None]
) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]

    sent = dispatch(api, {bags: 99}, reference="ORD-1")
    refusal = api.refuse(
        "/dispatches",
        {"customer": "Café Nord", "lines": [{"pack": bags, "bags": 2}]}, 409, "insufficient-stock",
    )  # fmt: skip
    dispatch(api, {bags: 1}, customer="1")

    assert sent["kg"] == kg("24.75")
    assert refusal["left_kg"] == kg("0.25")
    assert api.get(f"/packs/{bags}")["bags_left"] == 0
    assert api.get(f"/dispatches/{sent['code']}") == sent
    assert len(api.get("/dispatches?customer=café nord")["items"]) == 2
    assert api.get("/packs?on_hand=true&product=house-250")["items"] == []
    book_is_sound()


def test_a_dispatch_names_its_customer_and_each_pack_once(api: Api, roasts: list[str]) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]
    line = {"pack": bags, "bags": 1}

    api.refuse("/dispatches", {"customer": "No", "lines": [line]}, 422, "unknown-reference")
    api.refuse("/dispatches", {"customer": "Café Nord", "lines": [line, line]}, 422, "invalid")
    api.refuse("/dispatches", {"customer": "Café Nord", "lines": []}, 422, "invalid")
    api.refuse(
        "/dispatches",
        {"customer": "Café Nord", "lines": [line | {"bags": 0}]}, 422, "invalid",
    )  # fmt: skip
    api.refuse(
        "/dispatches",
        {"customer": "Café Nord", "lines": [line | {"pack": roasts[0]}]}, 409, "wrong-kind",
    )  # fmt: skip


def test_returned_bags_wait_on_hold_and_can_go_out_again(
    api: Api, roasts: list[str], book_is_sound: Callable[[], None]
) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]
    sent = dispatch(api, {bags: 12})["code"]

    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 4}], "reason": "crushed box",
    })  # fmt: skip
    again = {"customer": "Café Nord", "lines": [{"pack": back["code"], "bags": 4}]}
    refusal = api.refuse("/dispatches", again, 409, "on-hold")
    api.post(f"/holds/{back['hold']}/release", {"reason": "bags are sound, box was not"})
    resent = api.post("/dispatches", again)

    assert back["kg"] == 1
    assert back["held"] is True
    assert refusal["units"] == [back["code"]]
    shown = api.get(f"/dispatches/{sent}")
    assert shown["left_kg"] == 2
    assert shown["returns"] == [back["code"]]
    assert shown["lines"][0]["returned_bags"] == 4
    assert api.get(f"/packs/{bags}")["bags_left"] == 88
    assert resent["lines"] == [
        {"pack": back["code"], "product": "HOUSE-250", "bags": 4, "kg": 1, "returned_bags": 0}
    ]
    assert api.get(f"/returns?dispatch={sent}")["items"][0]["bags_left"] == 0
    book_is_sound()


def test_no_more_comes_back_than_went_out(api: Api, roasts: list[str]) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]
    other = pack(api, {roasts[1]: 25}, bags=100)["code"]
    sent = dispatch(api, {bags: 12})["code"]
    back = {"dispatch": sent, "lines": [{"pack": bags, "bags": 10}], "reason": "unsold"}
    api.post("/returns", back)

    refusal = api.refuse(
        "/returns", back | {"lines": [{"pack": bags, "bags": 3}]}, 409, "insufficient-stock"
    )
    api.refuse("/returns", back | {"lines": [{"pack": other, "bags": 1}]}, 409, "wrong-kind")

    assert refusal["left_bags"] == 2
    assert api.post("/returns", back | {"lines": [{"pack": bags, "bags": 2}]})["kg"] == kg("0.5")


def test_bags_of_a_held_pack_can_still_come_back(api: Api, roasts: list[str]) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]
    sent = dispatch(api, {bags: 12})["code"]
    api.post("/holds", {"units": [bags], "reason": "complaint"})

    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 12}], "reason": "recalled",
    })  # fmt: skip

    assert back["kg"] == 3
    assert api.get(f"/dispatches/{sent}")["left_kg"] == 0


def test_adjustments_need_a_reason_and_leave_nothing_below_zero(
    api: Api, roasts: list[str], book_is_sound: Callable[[], None]
) -> None:
    bags = pack(api, {roasts[0]: 25}, bags=100)["code"]
    change = {"unit": roasts[0], "kg": kg("-0.35"), "reason": "sample", "note": "cupping"}

    booked = api.post("/adjustments", change)

    assert booked["left_kg"] == kg("25.65")
    api.refuse("/adjustments", change | {"kg": kg("-25.651")}, 409, "insufficient-stock")
    api.refuse("/adjustments", change | {"kg": 0}, 422, "invalid")
    api.refuse("/adjustments", change | {"reason": "draw_difference"}, 422, "invalid")
    api.refuse("/adjustments", change | {"unit": "GL-1"}, 409, "wrong-kind")
    api.post("/adjustments", {"unit": bags, "kg": kg("-0.5"), "reason": "destroyed"})
    assert api.get(f"/packs/{bags}")["bags_left"] == 98
    book_is_sound()
