"""Counting, weighing and inspecting what arrived, and closing its receipt."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.green.arrivals.contracted import CLEAN, arrive, contract, four_sacks
from tests.makers import furnish
from tests.serving import Wire, at_once

COUNTS = "/lots/GL-1/arrival-counts"
WEIGHTS = "/lots/GL-1/arrival-weights"
INSPECTIONS = "/lots/GL-1/inspections"


# Counting.


def test_a_count_reconciles_when_every_invoiced_sack_is_accounted_for(api: Api) -> None:
    # 275 invoiced: 268 sound, 3 slack, 2 torn, 1 wet, 1 missing. Our rule.
    furnish(api)
    arrive(
        api,
        {"count": 268, "net_kg": 60},
        {"count": 3, "net_kg": 58, "condition": "slack"},
        {"count": 2, "net_kg": 50, "condition": "torn"},
        {"net_kg": 61, "condition": "wet"},
        invoiced_sacks=275,
    )

    counted = api.post(COUNTS, {"sound": 268, "slack": 3, "torn": 2, "wet": 1, "missing": 1})
    again = api.post(COUNTS, {"sound": 268, "slack": 3, "torn": 2, "wet": 1, "missing": 0})

    assert (counted["reconciles"], counted["invoiced"], counted["booked"]) == (True, 275, 274)
    assert (counted["against_invoice"], counted["against_book"]) == (0, 0)
    assert (again["reconciles"], again["against_invoice"]) == (False, -1)
    assert api.get(COUNTS)["items"] == [counted, again]
    assert api.get("/lots/GL-1/arrival")["count"] == again


@pytest.mark.parametrize(
    ("count", "against_invoice", "against_book"),
    [
        ({"sound": 4}, 0, 0),
        ({"sound": 3, "missing": 1}, 0, -1),
        ({"sound": 5, "over": 1}, 0, 1),
        ({"sound": 5}, 1, 1),
        ({"invoiced": 3, "sound": 4, "over": 1}, 0, 0),
        ({"invoiced": 5, "sound": 3, "mouldy": 1, "missing": 1}, 0, 0),
        ({}, -4, -4),
    ],
)
def test_a_count_is_held_against_the_invoice_and_against_the_book(
    api: Api, count: dict[str, int], against_invoice: int, against_book: int
) -> None:
    four_sacks(api, invoiced_sacks=4)

    counted = api.post(COUNTS, count)

    assert counted["against_invoice"] == against_invoice
    assert counted["against_book"] == against_book
    assert counted["reconciles"] is (against_invoice == against_book == 0)


def test_a_count_needs_to_know_how_many_were_invoiced(api: Api) -> None:
    four_sacks(api)

    document = api.refuse(COUNTS, {"sound": 4}, 422, "invalid")

    assert document["errors"][0]["pointer"] == "#/invoiced"
    assert api.get(COUNTS)["items"] == []


def test_sweepings_are_no_sack(api: Api, book_is_sound: Callable[[], None]) -> None:
    delivery = four_sacks(api, invoiced_sacks=4, sweepings_kg=kg("3.2"))

    counted = api.post(COUNTS, {"sound": 4})

    assert (counted["reconciles"], counted["booked"]) == (True, 4)
    lot = delivery["lots"][0]
    assert (lot["received_kg"], lot["sweepings_kg"]) == (kg("243.2"), kg("3.2"))
    assert api.get(f"/sacks/{lot['sacks'][-1]['code']}")["condition"] == "sweepings"
    assert api.get("/lots/GL-1/sample-plan")["sacks"] == 4
    book_is_sound()


# Weighing.


@pytest.mark.parametrize(
    ("landed_kg", "loss_kg", "claimable_kg", "over_usual"),
    [
        # ITC, The Coffee Guide, Contracts: "Quantity, weights and packing": 0.5 % of the shipped
        # weight is the buyer's. 19 200 kg shipped; the rest is arithmetic.
        (19_050, 150, 54, True),
        (19_110, 90, 0, False),
        (19_104, 96, 0, False),
        (19_103, 97, 1, True),
        (19_210, -10, 0, False),
    ],
)
def test_what_was_lost_beyond_the_franchise_can_be_claimed(
    api: Api, landed_kg: int, loss_kg: int, claimable_kg: int, over_usual: bool
) -> None:
    furnish(api)
    contract(api, quantity_kg=19_200)
    arrive(api, {"count": 320, "net_kg": 60}, contract="PC-26/014", shipped_kg=19_200)

    weighed = api.post(WEIGHTS, {"landed_kg": landed_kg, "place": "Quay scale"})

    assert weighed["loss_kg"] == loss_kg
    assert (weighed["franchise_kg"], weighed["franchise_pct"]) == (96, kg("0.5"))
    assert weighed["claimable_kg"] == claimable_kg
    assert weighed["over_usual"] is over_usual
    assert (weighed["contract"], weighed["weight_basis"]) == ("PC-26/014", "shipped")
    assert api.get("/lots/GL-1/arrival")["weight"] == weighed


@pytest.mark.parametrize(
    ("agreed", "landed_kg", "claimable_kg", "claim"),
    [
        ({"weight_basis": "landed"}, 200, 0, "paid on the landed weight: no claim by weight"),
        ({"franchise_pct": 1}, 237, kg("0.6"), "a loss of 3.0 kg less the franchise of 2.4 kg"),
        ({"franchise_pct": 0}, 237, 3, "a loss of 3.0 kg less the franchise of 0.0 kg (0 %)"),
        ({"form": "us"}, 237, 3, "a loss of 3.0 kg less the franchise of 0.0 kg (0 %)"),
        ({"franchise_pct": 2}, 236, 0, "a loss of 4.0 kg is within the franchise of 4.8 kg (2 %)"),
        ({}, 240, 0, "nothing was lost"),
    ],
)
def test_the_contract_says_who_bears_a_loss(
    api: Api, agreed: dict[str, Any], landed_kg: int, claimable_kg: Any, claim: str
) -> None:
    furnish(api)
    contract(api, **agreed)
    arrive(api, {"count": 4, "net_kg": 60}, contract="PC-26/014", shipped_kg=240)

    weighed = api.post(WEIGHTS, {"landed_kg": landed_kg})

    assert weighed["claimable_kg"] == claimable_kg
    assert claim in weighed["claim"]
    assert weighed["loss_kg"] == 240 - landed_kg


@pytest.mark.parametrize(
    ("of_delivery", "asked", "loss_kg", "claim"),
    [
        ({"shipped_kg": 240}, {}, 0, "no contract"),
        ({}, {"shipped_kg": 250}, 10, "no contract"),
        ({"contract": "PC-26/014"}, {}, None, "nobody said what was shipped"),
    ],
)
def test_nothing_is_said_to_be_claimable_where_too_little_is_known(
    api: Api, of_delivery: dict[str, Any], asked: dict[str, Any], loss_kg: Any, claim: str
) -> None:
    furnish(api)
    contract(api)
    arrive(api, {"count": 4, "net_kg": 60}, **of_delivery)

    weighed = api.post(WEIGHTS, asked)

    assert (weighed["landed_kg"], weighed["from_book"]) == (240, True)
    assert weighed["loss_kg"] == loss_kg
    assert weighed["claimable_kg"] is None
    assert claim in weighed["claim"]


@pytest.mark.parametrize(
    ("asked", "landed_kg", "tare_kg"),
    [
        ({"gross_kg": 244, "tare_kg": 4}, 240, 4),
        ({"gross_kg": 244, "tare_kg": 4, "landed_kg": 240}, 240, 4),
        ({"gross_kg": 244, "landed_kg": 240}, 240, 4),
        # Ten empties weigh 9.805 kg: four sacks have a tare of 3.922 kg.
        ({"gross_kg": 244, "tare_sample": {"empties": 10, "kg": kg("9.805")}}, kg("240.078"),
         kg("3.922")),
    ],
)  # fmt: skip
def test_a_lot_can_be_weighed_with_its_sacks(
    api: Api, asked: dict[str, Any], landed_kg: Any, tare_kg: Any
) -> None:
    four_sacks(api, sweepings_kg=2)

    weighed = api.post(WEIGHTS, asked)

    assert (weighed["landed_kg"], weighed["tare_kg"]) == (landed_kg, tare_kg)
    assert (weighed["gross_kg"], weighed["from_book"]) == (244, False)
    assert weighed["sweepings_kg"] == 2


@pytest.mark.parametrize(
    "asked",
    [
        {"gross_kg": 244},
        {"tare_kg": 4},
        {"tare_sample": {"empties": 10, "kg": 10}},
        {"gross_kg": 244, "tare_kg": 4, "tare_sample": {"empties": 10, "kg": 10}},
        {"gross_kg": 244, "tare_kg": 4, "landed_kg": 241},
        {"gross_kg": 244, "tare_kg": 244},
        {"gross_kg": 4, "tare_sample": {"empties": 1, "kg": 1}},
        {"gross_kg": 244, "tare_sample": {"empties": 1, "kg": 1}, "landed_kg": 241},
    ],
)
def test_weights_of_a_lot_that_contradict_each_other_are_refused(
    api: Api, asked: dict[str, Any]
) -> None:
    four_sacks(api)

    api.refuse(WEIGHTS, asked, 422, "invalid")

    assert api.get(WEIGHTS)["items"] == []


def test_a_smaller_loss_is_pointed_out_of_coffee_in_bulk(api: Api) -> None:
    # ITC, The Coffee Guide, Logistics: "Weights and supervision": more than 0.2 % of a container
    # in bulk usually means that it was filled wrongly. The hint is our rule.
    four_sacks(api, shipped_kg=240)

    sacks = api.post(WEIGHTS, {"landed_kg": 239})
    bulk = api.post(WEIGHTS, {"landed_kg": 239, "bulk": True})
    at_the_line = api.post(WEIGHTS, {"landed_kg": kg("239.52"), "bulk": True})

    assert [each["over_usual"] for each in (sacks, bulk, at_the_line)] == [False, True, False]


def test_the_newest_weight_stands_and_older_ones_stay(api: Api) -> None:
    four_sacks(api, shipped_kg=240)

    first = api.post(WEIGHTS, {"landed_kg": 230})
    second = api.post(WEIGHTS, {"landed_kg": 239, "weighed_at": "2026-03-05T09:00:00Z"})

    assert api.get(f"{WEIGHTS}?limit=1")["items"] == [first]
    assert api.get(WEIGHTS)["items"] == [first, second]
    assert api.get("/lots/GL-1/arrival")["weight"] == second


# Inspecting.


@pytest.mark.parametrize("sign", [*CLEAN, "husks_or_pods"])
def test_each_sign_of_trouble_holds_the_lot(api: Api, sign: str) -> None:
    # ITC, The Coffee Guide, Quality control issues: "OTA prevention during processing": wet or
    # mouldy bags or beans, husks and pods, earthy or mouldy smell. Live insects: our rule.
    four_sacks(api)

    seen = api.post(INSPECTIONS, CLEAN | {sign: True})

    assert seen["clean"] is False
    assert len(seen["found"]) == 1
    assert "keep it apart" in seen["caution"]
    assert "competent person" in seen["caution"]
    [hold] = api.get("/holds?unit=GL-1")["items"]
    assert hold["id"] == seen["hold"]
    assert seen["found"][0] in hold["reason"]
    assert api.get("/lots/GL-1")["available_kg"] == 0


def test_an_inspection_that_finds_nothing_holds_nothing_and_clears_nothing(api: Api) -> None:
    four_sacks(api)

    seen = api.post(INSPECTIONS, CLEAN)

    assert (seen["clean"], seen["found"], seen["hold"]) == (True, [], None)
    assert "can still contain mould toxins" in seen["caution"]
    assert "safe" not in seen["caution"]
    assert api.get("/holds")["items"] == []


@pytest.mark.parametrize(
    "body",
    [
        {name: value for name, value in CLEAN.items() if name != "mould"},
        CLEAN | {"mould": "no"},
        CLEAN | {"mould": 0},
        CLEAN | {"clean": True},
        CLEAN | {"inspected_at": "2126-03-05T09:00:00Z"},
    ],
)
def test_an_inspection_answers_every_question_with_yes_or_no(
    api: Api, body: dict[str, Any]
) -> None:
    four_sacks(api)

    api.refuse(INSPECTIONS, body, 422, "invalid")

    assert api.get(INSPECTIONS)["items"] == []


# Closing.


def test_a_receipt_is_closed_once_each_lot_reconciles(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    delivery = four_sacks(api, invoiced_sacks=5)
    close = f"/deliveries/{delivery['code']}/close"

    uncounted = api.refuse(close, {}, 409, "does-not-reconcile")
    api.post(COUNTS, {"sound": 4, "missing": 0})
    one_short = api.refuse(close, {}, 409, "does-not-reconcile")
    count = api.post(COUNTS, {"sound": 4, "missing": 1})
    closed = api.post(close, {"note": "one sack never came"})
    twice = api.refuse(close, {}, 409, "already-done")

    assert uncounted["uncounted"] == ["GL-1"]
    assert "4 sacks are accounted for and 5 were invoiced" in one_short["detail"]
    assert one_short["lots"][0]["against_invoice"] == -1
    assert closed["lots"] == [count]
    assert closed["closed_by"] in twice["detail"]
    shown = api.get(f"/deliveries/{delivery['code']}")
    assert (shown["closed_at"], shown["closed_by"]) == (closed["closed_at"], "admin")
    assert api.get("/lots/GL-1")["arrival"]["closed_at"] == closed["closed_at"]
    book_is_sound()


def test_every_lot_of_a_delivery_must_reconcile_but_for_the_voided(api: Api) -> None:
    furnish(api)
    lots = [
        {"code": code, "name": "Sidama", "origin": "ET", "sacks": [{"net_kg": 60}]}
        for code in ("GL-1", "GL-2", "GL-3")
    ]
    code = api.post(
        "/deliveries",
        {"supplier": "Finca El Roble", "received_at": "2026-03-05T08:00:00Z", "lots": lots},
    )["code"]
    api.post(COUNTS, {"invoiced": 1, "sound": 1})
    api.post("/lots/GL-2/arrival-counts", {"invoiced": 2, "sound": 2})
    api.post("/units/GL-3/void", {"reason": "entered twice"})

    refused = api.refuse(f"/deliveries/{code}/close", {}, 409, "does-not-reconcile")
    api.post("/lots/GL-2/arrival-counts", {"invoiced": 1, "sound": 1})
    closed = api.post(f"/deliveries/{code}/close", {})

    assert "of GL-2 2 were found and 1 are booked" in refused["detail"]
    assert "GL-1" not in refused["detail"]
    assert [each["lot"] for each in closed["lots"]] == ["GL-1", "GL-2"]


def test_people_who_close_one_receipt_at_once_close_it_once(api: Api, wire: Wire) -> None:
    code = four_sacks(api, invoiced_sacks=4)["code"]
    api.post(COUNTS, {"sound": 4})

    answers = at_once([partial(wire.post, f"/deliveries/{code}/close", {})] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]


def test_a_receipt_whose_lots_were_all_voided_has_nothing_to_close(api: Api) -> None:
    code = four_sacks(api)["code"]
    api.post("/units/GL-1/void", {"reason": "entered twice"})

    problem(api.send("POST", f"/deliveries/{code}/close", {}), 404, "not-found")
    problem(api.send("POST", "/deliveries/A-9/close", {}), 404, "not-found")


# What takes no facts.

FACTS: list[tuple[str, dict[str, Any]]] = [
    ("arrival-counts", {"invoiced": 4, "sound": 4}),
    ("arrival-weights", {}),
    ("inspections", CLEAN),
    ("exceptions", {"kind": "torn", "sacks": 1}),
]


@pytest.mark.parametrize(("path", "body"), FACTS)
def test_a_voided_lot_takes_no_more_facts_and_keeps_those_it_has(
    api: Api, path: str, body: dict[str, Any]
) -> None:
    four_sacks(api)
    before = api.post(f"/lots/GL-1/{path}", body)
    api.post("/units/GL-1/void", {"reason": "entered twice"})

    api.refuse(f"/lots/GL-1/{path}", body, 409, "voided")

    assert api.get(f"/lots/GL-1/{path}")["items"] == [before]


@pytest.mark.parametrize(("path", "body"), FACTS)
def test_a_fact_is_of_a_lot_that_is_known(api: Api, path: str, body: dict[str, Any]) -> None:
    delivery = four_sacks(api)
    sack = delivery["lots"][0]["sacks"][0]["code"]

    api.refuse(f"/lots/GL-9/{path}", body, 404, "unknown-code")
    api.refuse(f"/lots/{sack}/{path}", body, 409, "wrong-kind")


@pytest.mark.parametrize(("path", "body"), FACTS)
def test_a_fact_that_comes_again_is_recorded_once(
    api: Api, path: str, body: dict[str, Any]
) -> None:
    four_sacks(api)
    first = api.send("POST", f"/lots/GL-1/{path}", body, Idempotency_Key="k-1")

    again = api.send("POST", f"/lots/GL-1/{path}", body, Idempotency_Key="k-1")

    assert (again.status_code, again.content) == (201, first.content)
    assert len(api.get(f"/lots/GL-1/{path}")["items"]) == 1
