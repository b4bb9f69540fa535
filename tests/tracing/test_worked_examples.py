"""Two roasteries worked out on paper, with every figure they end in."""

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.shared.shares import percent
from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.tracing.recorded_week import (
    BAGS,
    BLEND,
    CUSTOMER,
    LOT,
    OTHER_ROAST,
    OTHER_SUPPLIER,
    ROAST,
    SHIPMENT,
    SUPPLIER,
    RecordedWeek,
)

# The figures of the recorded week were computed for its events by hand of decimals. Those about its
# packaging are left out: `tests/packing/test_materials.py` has them.


@pytest.fixture
def week(api: Api, shared: Path) -> RecordedWeek:
    return RecordedWeek(api, shared)


def by_code(answer: Any) -> dict[str, Any]:
    return {unit["code"]: unit for unit in answer["units"]}


def figures(answer: Any) -> dict[str, Decimal]:
    """Name the kilograms of a balance beside what was received."""
    balance = answer["balance"]
    return {name: each for name, each in balance.items() if name.endswith("_kg")} | {
        "received_kg": Decimal(0)
    }


def test_a_recall_of_one_lot_finds_the_bags_the_loose_coffee_and_the_green_in_them(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    """7.2 kg of lot A and 4.8 kg of lot C give 10.2 kg; 40 x 250 g are packed."""
    furnish(api)
    (a,) = sack_codes(receive(api, 60, lot="LOT-A"))
    (c,) = sack_codes(receive(api, 60, lot="LOT-C"))
    batch = roast(api, {a: kg("7.2"), c: kg("4.8")}, kg("10.2"), machine="DRUM-15")["code"]
    bags = pack(api, {batch: 10}, bags=40)["code"]

    answer = api.get("/trace/LOT-A?direction=forward")

    units = by_code(answer)
    assert list(units) == ["LOT-A", a, batch, bags]
    assert units[bags]["left_kg"] == 10
    assert units[batch]["left_kg"] == kg("0.2")
    assert units[bags]["share_pct"] == units[batch]["share_pct"] == 60
    assert units[bags]["suspect_kg"] == 6
    assert abs(units[bags]["green_kg"] - kg("7.0588")) <= kg("0.0005")
    assert units[batch]["green_kg"] == kg("7.2")
    assert api.get(f"/packs/{bags}")["bags_left"] == 40
    assert answer["customers"] == []
    balance = answer["balance"]
    assert balance["received_kg"] == 60
    assert balance["green_left_kg"] == kg("52.8")
    assert balance["roasting_loss_kg"] == kg("1.08")
    assert balance["in_process_kg"] == kg("0.12")
    assert balance["packed_left_kg"] == 6
    assert balance["accounted_pct"] == 100
    book_is_sound()


def test_the_kilograms_received_are_all_used_or_on_hand(
    week: RecordedWeek, book_is_sound: Callable[[], None]
) -> None:
    """120.00 received, every use named, 0.00 unexplained."""
    week.play()

    lot = week.api.get(f"/lots/{LOT}")
    s01, s02 = week.kilograms("101")
    drawn = {
        sack: sum(flow["kg"] for flow in week.api.get(f"/units/{sack}")["made_into"])
        for sack in (s01, s02)
    }
    taken = {
        line["reason"]: -line["kg"] for line in week.api.get(f"/adjustments?unit={s01}")["items"]
    }
    assert lot["received_kg"] == 120
    assert drawn == {s01: kg("20.2"), s02: kg("10.3")}
    assert taken == {"sample": kg("0.35"), "count": kg("0.4")}
    assert (week.left(s01), week.left(s02)) == (kg("39.25"), kg("49.5"))
    assert lot["on_hand_kg"] == kg("88.75")
    used = sum(drawn.values()) + sum(taken.values()) + lot["on_hand_kg"]
    assert lot["received_kg"] - used == 0
    book_is_sound()


def test_a_corrected_roast_counts_as_it_was_corrected(week: RecordedWeek) -> None:
    """The mistaken record is in the journal and in no trace."""
    week.play(until="005")

    mistaken = week.api.get(f"/roasts/{week.mistaken_roast}")
    corrected = week.api.get(f"/roasts/{ROAST}")
    assert (mistaken["charge_kg"], mistaken["loss_pct"]) == (30, kg("15.00"))
    assert mistaken["voided"]
    assert (corrected["charge_kg"], corrected["loss_pct"]) == (kg("30.5"), kg("16.39"))
    assert corrected["left_kg"] == kg("10.5")
    forward = by_code(week.api.get(f"/trace/{LOT}"))
    assert week.mistaken_roast not in forward
    roasted = [unit["made_kg"] for unit in forward.values() if unit["kind"] == "roast"]
    assert roasted == [kg("25.5")]  # and not 51.00


def test_bags_are_in_the_house_or_in_the_market(week: RecordedWeek) -> None:
    """99 packed, 12 sent, 4 came back: 91 recovered, 8 with the customer."""
    week.play(until="012")

    answer = week.api.get(f"/trace/{LOT}")

    in_house = week.api.get(f"/packs/{BAGS}")["bags_left"]
    (back,) = week.api.get(f"/returns?dispatch={SHIPMENT}")["items"]
    (customer,) = answer["customers"]
    recovered = in_house + back["bags_left"]
    assert recovered == week.bags("012") == 91
    assert customer["bags"] - customer["returned_bags"] == 8
    assert percent(recovered, week.bags("006"), 2) == kg("91.92")
    assert percent(customer["returned_bags"], customer["bags"], 2) == kg("33.33")
    assert week.bags("006") - recovered == 8
    held = {unit["code"] for unit in answer["units"] if unit["held"]}
    assert held == {BAGS, week.returned}


def test_a_forward_trace_of_one_sack_lists_all_that_holds_any_of_it(week: RecordedWeek) -> None:
    """The whole batch, the whole blend, all 99 bags, 12 of them at one customer."""
    week.play(until="012")
    _, s02 = week.kilograms("101")

    answer = week.api.get(f"/trace/{s02}")

    units = by_code(answer)
    assert list(units) == [s02, ROAST, BLEND, BAGS, SHIPMENT, week.returned]
    assert units[ROAST]["made_kg"] == kg("25.5")
    assert units[BLEND]["made_kg"] == 25
    assert units[BAGS]["made_kg"] == 99 * kg("0.25")
    assert units[ROAST]["share_pct"] == percent(103, 305)
    (customer,) = answer["customers"]
    assert (customer["customer"], customer["bags"]) == (CUSTOMER, 12)
    assert customer["dispatches"] == [SHIPMENT]
    assert sum(figures(answer).values()) == answer["balance"]["received_kg"] == kg("59.8")


def test_a_backward_trace_of_bags_ends_at_the_sacks_lots_and_suppliers(week: RecordedWeek) -> None:
    """Backward from the bags to both sacks, their lot and its supplier."""
    week.play(until="006")

    answer = week.api.get(f"/trace/{BAGS}?direction=backward")

    s01, s02 = week.kilograms("101")
    others = [f"GL24018-S0{number}" for number in (1, 2)]
    flows = {(flow["source"], flow["target"]): flow["kg"] for flow in answer["flows"]}
    assert flows == {
        (LOT, s01): kg("60.2"), (LOT, s02): kg("59.8"),
        (s01, ROAST): kg("20.2"), (s02, ROAST): kg("10.3"),
        ("GL24018", others[0]): 30, ("GL24018", others[1]): 30,
        (others[0], OTHER_ROAST): 15, (others[1], OTHER_ROAST): 15,
        (ROAST, BLEND): 15, (OTHER_ROAST, BLEND): 10,
        (BLEND, BAGS): kg("24.75"),
    }  # fmt: skip
    lots_of = {each["supplier"]: each["lots"] for each in answer["suppliers"]}
    assert lots_of == {SUPPLIER: [LOT], OTHER_SUPPLIER: ["GL24018"]}
    units = by_code(answer)
    assert units[ROAST]["share_pct"] == 60
    assert units[OTHER_ROAST]["share_pct"] == 40
    assert units[s02]["share_pct"] == percent(60 * 103, 100 * 305)


def test_every_kilogram_of_the_recalled_lot_is_accounted_for(
    week: RecordedWeek, book_is_sound: Callable[[], None]
) -> None:
    week.play()

    answer = week.api.get(f"/trace/{LOT}")

    balance = answer["balance"]
    assert balance == {
        "received_kg": 120, "green_left_kg": kg("88.75"), "roasting_loss_kg": 5,
        "in_process_kg": kg("10.65"),  # 10.5 of the batch and 60 % of 0.25 of the blend
        "packing_loss_kg": 0, "packed_left_kg": 0,
        "dispatched_kg": kg("1.2"),  # 60 % of 8 bags
        "adjusted_kg": kg("14.4"),  # 0.75 taken out green, 60 % of 91 bags destroyed
        "asked_kg": 0, "accounted_pct": 100,
    }  # fmt: skip
    assert sum(figures(answer).values()) == balance["received_kg"]
    book_is_sound()


def test_coffee_blended_again_and_again_is_listed_once(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    """What was left of a blend goes into the next, three times; each node stands once."""
    furnish(api)
    (sack,) = sack_codes(receive(api, 60))
    batch = roast(api, {sack: 50}, 40)["code"]
    first = blend(api, {batch: 10})["code"]
    second = blend(api, {first: 4, batch: 10})["code"]
    third = blend(api, {second: 5, first: 3, batch: 10})["code"]
    bags = pack(api, {third: 18}, bags=9, sku="HOUSE-2000")["code"]
    sent = dispatch(api, {bags: 2})["code"]

    forward = api.get(f"/trace/{sack}")
    backward = api.get(f"/trace/{sent}?direction=backward")

    chain = [sack, batch, first, second, third, bags, sent]
    assert [unit["code"] for unit in forward["units"]] == chain
    assert [unit["code"] for unit in backward["units"]][1:] == chain
    assert all(unit["share_pct"] == 100 for unit in forward["units"])
    shares = {unit["code"]: unit["share_pct"] for unit in backward["units"]}
    assert shares[batch] == 100
    assert shares[second] == percent(5, 18)
    assert shares[first] == percent(3 * 14 + 5 * 4, 18 * 14)
    assert sum(figures(backward).values()) == backward["balance"]["received_kg"] == 5
    book_is_sound()
