"""What a trace answers: where coffee went, where it came from, and where it all is."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import Engine

from app.green.actions import bear_lot, write_delivery, write_lot
from app.green.schemas import LotIn
from app.ledger.posting import Pen, Posting
from app.settings import Settings
from app.shared.db import writing
from app.shared.shares import percent
from app.shared.times import now
from tests.api import Api, kg, problem
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.tracing.loading import Network, book, code_of, evenly


@pytest.fixture(autouse=True)
def _roastery(api: Api) -> None:
    furnish(api)


@pytest.fixture(autouse=True)
def _sound(book_is_sound: Callable[[], None], _roastery: None) -> Any:
    """Let the book check itself after every test."""
    yield
    book_is_sound()


def codes(answer: Any) -> list[str]:
    return [unit["code"] for unit in answer["units"]]


def by_code(answer: Any) -> dict[str, Any]:
    return {unit["code"]: unit for unit in answer["units"]}


def assert_closes(answer: Any) -> None:
    """Check that somebody who adds up the balance finds what was received, to the gram."""
    balance = answer["balance"]
    parts = [each for name, each in balance.items() if name.endswith("_kg")]
    assert sum(parts) == 2 * balance["received_kg"], balance
    assert balance["accounted_pct"] == 100


def trace_set(api: Api, *units: str, direction: str = "forward") -> Any:
    return api.post("/trace", {"units": list(units), "direction": direction})


def half_and_half(api: Api, *bags: int) -> tuple[list[str], list[str], str, list[str]]:
    """Blend two lots half and half and pack it: lots, their sacks, the blend, the packs."""
    lots, sacks, parts = [], [], {}
    for name in ("LOT-A", "LOT-B"):
        received = receive(api, 60, lot=name)
        lots.append(name)
        sacks += sack_codes(received)
        parts[roast(api, {sacks[-1]: 12}, 10)["code"]] = 8
    mixed = blend(api, parts)["code"]
    packs = [pack(api, {mixed: count * kg("0.25")}, bags=count)["code"] for count in bags]
    return lots, sacks, mixed, packs


def test_forward_lists_all_that_holds_any_of_it_in_the_order_it_was_made(api: Api) -> None:
    _, sacks, mixed, (bags, more) = half_and_half(api, 40, 20)
    sent = dispatch(api, {bags: 30})["code"]

    answer = api.get(f"/trace/{sacks[0]}?direction=forward")

    units = by_code(answer)
    batch = answer["flows"][1]["source"]
    assert codes(answer) == [sacks[0], batch, mixed, bags, more, sent]
    assert [unit["kind"] for unit in answer["units"]] == [
        "sack", "roast", "blend", "pack", "pack", "dispatch",
    ]  # fmt: skip
    assert answer["of"] == {"code": sacks[0], "kind": "sack"}
    assert answer["direction"] == "forward"
    assert (units[bags]["made_kg"], units[bags]["left_kg"]) == (10, kg("2.5"))
    assert (units[bags]["share_pct"], units[bags]["suspect_kg"]) == (50, 5)
    assert units[bags]["green_kg"] == 6  # 12 kg of green came to 10 kg roasted
    assert answer["flows"] == [
        {"source": sacks[0], "target": batch, "kg": 12},
        {"source": batch, "target": mixed, "kg": 8},
        {"source": mixed, "target": bags, "kg": 10},
        {"source": mixed, "target": more, "kg": 5},
        {"source": bags, "target": sent, "kg": kg("7.5")},
    ]
    assert_closes(answer)


def test_forward_is_the_direction_when_none_is_said_and_capitals_do_not_matter(api: Api) -> None:
    _, _, _, _ = half_and_half(api, 4)

    assert api.get("/trace/lot-a") == api.get("/trace/LOT-A?direction=forward")


def test_backward_lists_all_it_was_made_from_with_the_part_that_came_through(api: Api) -> None:
    lots, sacks, mixed, (bags,) = half_and_half(api, 40)
    sent = dispatch(api, {bags: 30})["code"]

    answer = api.get(f"/trace/{sent}?direction=backward")

    units = by_code(answer)
    assert set(units) >= {*lots, *sacks, mixed, bags, sent}
    assert len(units) == 9
    assert {units[each]["share_pct"] for each in (*lots, *sacks)} == {50}
    assert {units[each]["share_pct"] for each in (mixed, bags, sent)} == {100}
    assert units[sacks[0]]["suspect_kg"] == kg("4.5")
    assert units[mixed]["suspect_kg"] == kg("7.5")
    assert units[mixed]["green_kg"] == 9
    assert answer["balance"]["received_kg"] == 9
    assert answer["balance"]["roasting_loss_kg"] == kg("1.5")
    assert answer["balance"]["asked_kg"] == kg("7.5")
    assert_closes(answer)


def test_green_behind_a_roast_is_what_was_charged_and_behind_its_bags_pro_rata(api: Api) -> None:
    _, _, mixed, (bags,) = half_and_half(api, 40)
    batch = api.get(f"/units/{mixed}")["made_from"][0]["unit"]

    answer = api.get(f"/trace/{batch}")

    units = by_code(answer)
    assert (units[batch]["suspect_kg"], units[batch]["green_kg"]) == (10, 12)
    assert units[mixed]["green_kg"] == kg("9.6")
    assert units[bags]["green_kg"] == 6
    assert answer["balance"]["received_kg"] == 10
    assert_closes(answer)


def test_a_set_is_traced_as_one(api: Api) -> None:
    lots, sacks, mixed, (bags,) = half_and_half(api, 40)

    answer = trace_set(api, *sacks)

    one, other = (set(codes(api.get(f"/trace/{sack}"))) for sack in sacks)
    assert set(codes(answer)) == one | other
    assert answer["of"] == [{"code": sack, "kind": "sack"} for sack in sacks]
    assert by_code(answer)[mixed]["share_pct"] == 100
    assert answer["balance"]["received_kg"] == 120
    assert_closes(answer)
    backward = trace_set(api, bags, mixed, direction="backward")
    assert {each["lots"][0] for each in backward["suppliers"]} == set(lots)


def test_a_lot_and_its_own_sack_are_not_counted_twice(api: Api) -> None:
    lots, sacks, _, _ = half_and_half(api, 40)

    both = trace_set(api, sacks[0], lots[0])
    alone = api.get(f"/trace/{lots[0]}")

    assert both["units"] == alone["units"]
    assert both["balance"] == alone["balance"]
    assert both["customers"] == alone["customers"]


def test_a_suspect_in_the_middle_counts_with_what_did_not_come_from_another(api: Api) -> None:
    """Half of the blend is of lot A already: the other half is what it adds."""
    lots, _, mixed, (bags,) = half_and_half(api, 40)

    answer = trace_set(api, lots[0], mixed)

    units = by_code(answer)
    assert (units[mixed]["share_pct"], units[bags]["share_pct"]) == (100, 100)
    assert answer["balance"]["received_kg"] == 60 + 8
    assert_closes(answer)


def test_asking_back_for_a_batch_and_the_bags_made_of_it_counts_their_coffee_once(
    api: Api,
) -> None:
    (sack,) = sack_codes(receive(api, 60))
    batch = roast(api, {sack: 12}, 10)["code"]
    bags = pack(api, {batch: 6}, bags=24)["code"]

    answer = trace_set(api, batch, bags, direction="backward")

    assert answer["balance"]["received_kg"] == 12
    assert answer["balance"]["roasting_loss_kg"] == 2
    assert answer["balance"]["asked_kg"] == 10
    assert by_code(answer)[batch]["share_pct"] == 100
    assert_closes(answer)


def test_green_found_when_a_sack_was_emptied_was_never_received(api: Api) -> None:
    """The book said 60 kg, the scale 60.5: the half kilogram is no kilogram of the supplier."""
    lot = receive(api, 60, lot="LOT-A")
    (sack,) = sack_codes(lot)
    batch = api.post("/roasts", {
        "machine": "DRUM-75", "end_kg": 50,
        "draws": [{"sack": sack, "kg": kg("60.5"), "emptied": True}],
    })["code"]  # fmt: skip

    backward = api.get(f"/trace/{batch}?direction=backward")
    forward = api.get("/trace/LOT-A")

    for answer in (backward, forward):
        assert answer["balance"]["received_kg"] == 60
        assert answer["balance"]["adjusted_kg"] == kg("-0.5")
        assert answer["balance"]["roasting_loss_kg"] == kg("10.5")
        assert_closes(answer)
    assert by_code(backward)[sack]["suspect_kg"] == 60


def test_a_share_too_small_to_show_does_not_take_a_unit_off_the_list(
    api: Api, engine: Engine
) -> None:
    """200 times thinned by half: less than one part in 10**60, and every unit is named."""
    inputs: dict[str, list[str]] = {"0": []}
    for step in range(1, 201):
        inputs |= {f"CLEAN{step}": [], str(step): [str(step - 1), f"CLEAN{step}"]}
    network = Network(inputs)
    book(engine, network, network.flows(0, lambda at_least, n: evenly(at_least or 2, n)), 0)

    answer = api.get(f"/trace/{code_of('0')}")

    assert codes(answer) == [code_of(str(step)) for step in range(201)]
    assert answer["units"][-1]["share_pct"] == 0
    assert answer["units"][20]["share_pct"] == percent(1, 2**20)


def test_customers_are_named_with_their_bags_and_pro_rata_kilograms(api: Api) -> None:
    lots, _, _, (bags, more) = half_and_half(api, 40, 20)
    api.post("/customers", {"name": "Bistro Sud"})
    first = dispatch(api, {bags: 12})["code"]
    second = dispatch(api, {bags: 4, more: 8})["code"]
    third = dispatch(api, {more: 2}, customer="Bistro Sud")["code"]

    answer = api.get(f"/trace/{lots[0]}")

    assert answer["customers"] == [
        {"customer": "Bistro Sud", "contact": None, "kind": "business", "sold_on": [],
         "dispatches": [third], "bags": 2,
         "kg": kg("0.5"), "suspect_kg": kg("0.25"), "returned_bags": 0},
        {"customer": "Café Nord", "contact": "Ida, +49 000 1234", "kind": "business",
         "sold_on": [], "dispatches": [first, second],
         "bags": 24, "kg": 6, "suspect_kg": 3, "returned_bags": 0},
    ]  # fmt: skip
    assert_closes(answer)


def test_nobody_got_any_of_what_was_not_sent(api: Api) -> None:
    lots, _, _, (bags,) = half_and_half(api, 40)

    assert api.get(f"/trace/{lots[0]}")["customers"] == []
    assert api.get(f"/trace/{bags}?direction=backward")["customers"] == []


def test_a_dispatch_of_two_products_does_not_make_one_suspect_by_the_other(api: Api) -> None:
    (good,) = sack_codes(receive(api, 60, lot="GOOD"))
    (bad,) = sack_codes(receive(api, 60, lot="BAD"))
    clean = pack(api, {roast(api, {good: 24}, 20)["code"]: 20}, bags=80)["code"]
    dirty = pack(api, {roast(api, {bad: 24}, 20)["code"]: 20}, bags=80)["code"]
    sent = dispatch(api, {clean: 10, dirty: 6})["code"]
    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": clean, "bags": 3}], "reason": "torn bags",
    })["code"]  # fmt: skip

    recall = api.get("/trace/BAD")
    other = api.get("/trace/GOOD")

    assert back not in codes(recall)
    assert back in codes(other)
    (customer,) = recall["customers"]
    assert (customer["bags"], customer["kg"], customer["returned_bags"]) == (6, kg("1.5"), 0)
    assert customer["suspect_kg"] == kg("1.5")
    assert recall["balance"]["dispatched_kg"] == kg("1.5")
    (customer,) = other["customers"]
    assert (customer["bags"], customer["returned_bags"]) == (10, 3)
    assert other["balance"]["dispatched_kg"] == kg("1.75")
    assert other["balance"]["packed_left_kg"] == 80 * kg("0.25") - kg("1.75")
    assert_closes(recall)
    assert_closes(other)


def test_bags_that_came_back_and_were_sent_again_are_followed(api: Api) -> None:
    _, _, _, (bags,) = half_and_half(api, 40)
    sent = dispatch(api, {bags: 10})["code"]
    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 6}], "reason": "wrong address",
    })  # fmt: skip
    api.post(f"/holds/{back['hold']}/release", {"reason": "sound"})
    api.post("/customers", {"name": "Bistro Sud"})
    again = dispatch(api, {back["code"]: 5}, customer="Bistro Sud")["code"]

    of_bags = api.get(f"/trace/{bags}")
    of_return = api.get(f"/trace/{back['code']}")
    origin = api.get(f"/trace/{again}?direction=backward")

    assert codes(of_bags) == [bags, sent, back["code"], again]
    bags_of = {each["customer"]: each["bags"] for each in of_bags["customers"]}
    assert bags_of == {"Bistro Sud": 5, "Café Nord": 10}
    assert codes(of_return) == [back["code"], again]
    assert sent not in codes(origin)
    assert bags in codes(origin)
    for answer in (of_bags, of_return, origin):
        assert_closes(answer)


def test_a_suspect_dispatch_is_suspect_whole_with_what_came_back_of_it(api: Api) -> None:
    _, _, _, (bags,) = half_and_half(api, 40)
    sent = dispatch(api, {bags: 10})["code"]
    dispatch(api, {bags: 5})
    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 4}], "reason": "smells of petrol",
    })["code"]  # fmt: skip

    answer = api.get(f"/trace/{sent}")

    assert codes(answer) == [sent, back]
    assert {unit["share_pct"] for unit in answer["units"]} == {100}
    (customer,) = answer["customers"]
    assert (customer["bags"], customer["returned_bags"]) == (10, 4)
    assert customer["suspect_kg"] == kg("2.5")
    assert answer["of"] == {"code": sent, "kind": "dispatch"}
    assert answer["balance"]["received_kg"] == kg("2.5")
    assert answer["balance"]["dispatched_kg"] == kg("1.5")
    assert answer["balance"]["packed_left_kg"] == 1
    assert_closes(answer)


@pytest.mark.parametrize("direction", ["forward", "backward"])
def test_a_dispatch_asked_with_its_own_return_counts_the_bags_once(
    api: Api, direction: str
) -> None:
    _, _, _, (bags,) = half_and_half(api, 40)
    sent = dispatch(api, {bags: 40})["code"]
    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 40}], "reason": "refused",
    })["code"]  # fmt: skip

    answer = trace_set(api, sent, back, direction=direction)

    assert by_code(answer)[back]["made_kg"] == 10
    expected = {"forward": 10, "backward": 12}[direction]  # grams of bags; grams of green
    assert answer["balance"]["received_kg"] == expected
    if direction == "backward":
        assert by_code(answer)[bags]["suspect_kg"] == 10
        assert answer["balance"]["asked_kg"] == 10
    assert_closes(answer)


def test_what_was_voided_is_in_no_trace(api: Api) -> None:
    lots, sacks, mixed, (bags, more) = half_and_half(api, 40, 20)
    sent = dispatch(api, {bags: 4, more: 4})["code"]
    before = api.get(f"/trace/{lots[0]}")

    api.post(f"/units/{sent}/void", {"reason": "booked twice"})
    api.post(f"/units/{more}/void", {"reason": "never packed"})
    answer = api.get(f"/trace/{lots[0]}")
    backward = api.get(f"/trace/{bags}?direction=backward")

    assert codes(answer) == [code for code in codes(before) if code not in {sent, more}]
    assert all(flow["target"] not in {sent, more} for flow in answer["flows"])
    assert answer["customers"] == []
    assert by_code(answer)[bags]["left_kg"] == 10
    assert by_code(answer)[mixed]["left_kg"] == 6
    assert sacks[0] in codes(backward)
    assert_closes(answer)
    assert_closes(backward)


def test_what_was_voided_cannot_be_traced_alone_or_in_a_set(api: Api) -> None:
    lots, _, _, (bags,) = half_and_half(api, 40)
    api.post(f"/units/{bags}/void", {"reason": "never packed"})

    alone = problem(api.send("GET", f"/trace/{bags}"), 409, "voided")
    api.refuse("/trace", {"units": [lots[0], bags]}, 409, "voided")

    assert alone["unit"] == bags


def test_what_is_on_hold_is_shown_as_held_until_it_is_released(api: Api) -> None:
    lots, sacks, mixed, (bags,) = half_and_half(api, 40)
    hold = api.post("/holds", {"units": [lots[0], bags], "reason": "musty cup"})["id"]

    held = {code for code, unit in by_code(api.get(f"/trace/{lots[0]}")).items() if unit["held"]}
    api.post(f"/holds/{hold}/release", {"reason": "clean cup"})
    after = api.get(f"/trace/{lots[0]}")

    assert held == {lots[0], sacks[0], bags}  # a sack is held with its lot
    assert mixed in codes(after)
    assert not any(unit["held"] for unit in after["units"])


def test_locations_are_shown_where_coffee_stands_somewhere(api: Api) -> None:
    (sack,) = sack_codes(receive(api, 60, lot="LOT-A"))
    batch = roast(api, {sack: 12}, 10)["code"]
    api.post("/moves", {"sacks": [sack, batch], "to": "B-02"})

    units = by_code(api.get("/trace/LOT-A"))

    assert (units["LOT-A"]["location"], units[sack]["location"]) == (None, "B-02")
    assert units[batch]["location"] == "B-02"


def test_suppliers_are_named_with_delivery_and_lots_also_from_a_sack(api: Api) -> None:
    api.post("/suppliers", {"name": "Long Ridge"})
    lots, sacks, _, (bags,) = half_and_half(api, 40)
    delivery = api.post("/deliveries", {
        "supplier": "Long Ridge", "received_at": "2026-03-03T08:00:00Z",
        "lots": [
            {"name": "Guji", "code": "LOT-C", "origin": "ET", "sacks": [{"net_kg": 60}]},
            {"name": "Sul", "code": "LOT-D", "origin": "BR", "sacks": [{"net_kg": 60}]},
        ],
    })  # fmt: skip
    more = {lot["sacks"][0]["code"]: 6 for lot in delivery["lots"]}
    other = pack(api, {roast(api, more, 10)["code"]: 10}, bags=40)["code"]

    from_bags = trace_set(api, bags, other, direction="backward")["suppliers"]
    from_sack = api.get(f"/trace/{sacks[0]}")["suppliers"]
    from_bags_on = api.get(f"/trace/{bags}")["suppliers"]

    assert [(each["supplier"], each["lots"]) for each in from_bags] == [
        ("Finca El Roble", [lots[0]]),
        ("Finca El Roble", [lots[1]]),
        ("Long Ridge", ["LOT-C", "LOT-D"]),
    ]
    assert from_bags[2]["delivery"] == delivery["code"]
    assert [each["lots"] for each in from_sack] == [[lots[0]]]
    assert from_bags_on == []


def test_a_lot_nobody_knows_the_supplier_of_is_named_all_the_same(api: Api, engine: Engine) -> None:
    asked = LotIn.model_validate(
        {"code": "OLD-1", "name": "Old stock", "origin": "BR", "sacks": [{"net_kg": Decimal(60)}]}
    )
    with writing(engine) as session:
        pen = Pen(session, "archivist", Settings(_env_file=None))
        posting = Posting("opening stock", now(), {"lot": "OLD-1"})
        arrived = bear_lot(pen, posting, asked, {})
        entry_id = pen.post(posting)
        write_lot(pen, entry_id, write_delivery(pen, entry_id, None, None), arrived)
    (sack,) = (unit for unit in codes(api.get("/trace/OLD-1")) if unit != "OLD-1")
    batch = roast(api, {sack: 12}, 10)["code"]

    (supplier,) = api.get(f"/trace/{batch}?direction=backward")["suppliers"]

    assert supplier["supplier"] is None
    assert supplier["lots"] == ["OLD-1"]


def test_a_misread_code_is_told_apart_from_one_that_was_never_booked(api: Api) -> None:
    (sack,) = sack_codes(receive(api, 60))
    swapped = sack[:-1] + ("A" if sack[-1] != "A" else "B")

    misread = problem(api.send("GET", f"/trace/{swapped}"), 404, "misread-code")
    problem(api.send("GET", "/trace/NO-SUCH-LOT"), 404, "unknown-code")
    api.refuse("/trace", {"units": [sack, "NO-SUCH-LOT"]}, 404, "unknown-code")

    assert misread["code"] == swapped


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"units": []},
        {"units": ["LOT-A", "lot-a"]},
        {"units": ["LOT-A"], "location": "B-02"},
        {"units": ["LOT-A"], "from": "2026-03-01T00:00:00Z"},
        {"location": "B-02", "from": "2026-03-02T00:00:00Z", "to": "2026-03-01T00:00:00Z"},
        {"location": "B-02", "from": "2026-03-02T00:00:00"},
        {"location": "B-02", "direction": "sideways"},
    ],
)
def test_a_trace_of_nothing_or_of_two_things_is_refused(api: Api, asked: Any) -> None:
    receive(api, 60, lot="LOT-A")

    api.refuse("/trace", asked, 422, "invalid")


def test_the_number_of_statements_does_not_grow_with_the_trace(
    api: Api, statements: Callable[[], int]
) -> None:
    (sack,) = sack_codes(receive(api, 60))
    batch = roast(api, {sack: 12}, 10)["code"]
    sent = dispatch(api, {pack(api, {batch: 1}, bags=4)["code"]: 1})["code"]
    paths = [f"/trace/{sack}", f"/trace/{sent}", f"/trace/{sent}?direction=backward"]
    small = []
    for path in paths:
        statements()
        api.get(path)
        small.append(statements())
    for _ in range(12):
        more = pack(api, {roast(api, {sack: 3}, kg("2.5"))["code"]: 2}, bags=8)["code"]
        dispatch(api, {more: 2})
        dispatch(api, {more: 3})

    large = []
    for path in paths:
        statements()
        api.get(path)
        large.append(statements())

    assert len(codes(api.get(paths[0]))) == 4 + 4 * 12
    assert large == small
    assert max(large) <= 20
