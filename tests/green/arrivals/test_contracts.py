"""Purchase contracts: what was agreed, who sees the price, and what came so far."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from sqlalchemy import Engine, text

from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.green.arrivals.contracted import CONTRACT, arrive, contract, days_ago
from tests.makers import furnish
from tests.serving import Wire, at_once

PRICED: dict[str, Any] = {"price": kg("2.50"), "currency": "USD", "price_unit": "lb"}
AT = "/contracts/PC-26%2F014"


def test_a_contract_says_what_was_agreed_and_what_holds_by_custom(api: Api) -> None:
    furnish(api)

    made = contract(
        api, tolerance_pct=kg("2.5"), franchise_pct=0, arrival_moisture_limit_pct=12,
        shipped_from="2026-01-01", shipped_until="2026-01-31", lead_time_days=40,
        expected_on="2026-03-05", form="us", technical_days=30, note="by the chop",
    )  # fmt: skip

    assert made["supplier"] == "Finca El Roble"
    assert (made["form"], made["weight_basis"]) == ("us", "shipped")
    assert made["terms"] == {
        "tolerance_pct": kg("2.5"), "franchise_pct": 0, "weigh_days": 15, "quality_days": 15,
        "technical_days": 30,
    }  # fmt: skip
    assert (made["quality_days"], made["technical_days"]) == (None, 30)
    assert (made["accepted_from_kg"], made["accepted_to_kg"]) == (234, 246)
    assert (made["received_kg"], made["standing"], made["deliveries"]) == (0, "under", [])
    assert (made["shipped_from"], made["expected_on"]) == ("2026-01-01", "2026-03-05")
    assert api.get("/contracts/pc-26/014") == api.get(AT) == made
    assert api.get("/contracts")["items"] == [
        {name: value for name, value in made.items() if name != "deliveries"}
    ]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"supplier": "Nobody"}, "#/supplier"),
        ({"reference": " "}, "#/reference"),
        ({"reference": "A" * 41}, "#/reference"),
        ({"reference": "PC?1"}, "#/reference"),
        ({"quantity_kg": 0}, "#/quantity_kg"),
        ({"quantity_kg": kg("0.0001")}, "#/quantity_kg"),
        ({"quantity_kg": 30_000_001}, "#/quantity_kg"),
        ({"tolerance_pct": kg("100.001")}, "#/tolerance_pct"),
        ({"tolerance_pct": kg("0.0001")}, "#/tolerance_pct"),
        ({"franchise_pct": -1}, "#/franchise_pct"),
        ({"franchise_pct": "0.5"}, "#/franchise_pct"),
        ({"price": kg("2.5")}, "#/currency"),
        ({"price": kg("2.5"), "currency": "USD"}, "#/price_unit"),
        ({"currency": "USD", "price_unit": "kg"}, "#/price"),
        (PRICED | {"price": 0}, "#/price"),
        (PRICED | {"price": 1_000_000}, "#/price"),
        (PRICED | {"price": kg("0.0000001")}, "#/price"),
        (PRICED | {"currency": "US"}, "#/currency"),
        (PRICED | {"price_unit": "bag"}, "#/price_unit"),
        ({"weight_basis": "delivered"}, "#/weight_basis"),
        ({"form": "house"}, "#/form"),
        ({"shipped_from": "2026-02-01", "shipped_until": "2026-01-31"}, "#/shipped_until"),
        ({"expected_on": 20260305}, "#/expected_on"),
        ({"weigh_days": -1}, "#/weigh_days"),
        ({"lead_time_days": 3651}, "#/lead_time_days"),
    ],
)
def test_a_wrong_field_of_a_contract_is_named_and_nothing_is_stored(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    furnish(api)
    before = api.get("/entries?limit=500")

    answer = api.send("POST", "/contracts", CONTRACT | change)

    document = problem(answer, 422, "unknown-reference" if "supplier" in change else "invalid")
    assert [error["pointer"] for error in document["errors"]] == [pointer]
    assert api.get("/contracts")["items"] == []
    assert api.get("/entries?limit=500") == before


def test_a_reference_is_taken_whatever_its_capitals(api: Api) -> None:
    furnish(api)
    contract(api)

    api.refuse("/contracts", CONTRACT | {"reference": " pc-26/014 "}, 409, "code-taken")


def test_people_who_enter_one_contract_at_once_enter_it_once(api: Api, wire: Wire) -> None:
    furnish(api)

    answers = at_once([partial(wire.post, "/contracts", CONTRACT)] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert len(api.get("/contracts")["items"]) == 1


def test_contracts_are_listed_by_supplier(api: Api) -> None:
    furnish(api)
    api.post("/suppliers", {"name": "Marren & Tolle"})
    contract(api)
    other = contract(api, reference="PC-2", supplier="Marren & Tolle")

    listed = api.get("/contracts?supplier=marren%20%26%20tolle")["items"]

    assert [each["reference"] for each in listed] == [other["reference"]]
    problem(api.send("GET", "/contracts?supplier=nobody"), 404, "not-found")


def test_a_list_of_contracts_takes_as_many_statements_for_many_as_for_one(
    api: Api, statements: Callable[[], int]
) -> None:
    furnish(api)
    contract(api)
    before = statements()
    api.get("/contracts")
    for_one = statements() - before
    for number in range(5):
        contract(api, reference=f"PC-{number}")

    before = statements()
    listed = api.get("/contracts")

    assert len(listed["items"]) == 6
    assert statements() - before == for_one


# Who sees the price.


def test_a_price_in_pounds_is_shown_in_kilograms_beside_it(api: Api) -> None:
    # 2.50 USD a pound are 5.5116 USD a kilogram: arithmetic on the pound of 0.45359237 kg.
    furnish(api)

    made = contract(api, **PRICED)

    assert (made["price"], made["currency"], made["price_unit"]) == (kg("2.50"), "USD", "lb")
    assert made["price_per_kg"] == kg("5.5116")


def test_who_may_not_see_prices_sees_none_of_them(api: Api, api_as: Callable[..., Api]) -> None:
    furnish(api)
    contract(api, **PRICED)

    for role in ("warehouse", "roaster", "quality"):
        somebody = api_as(role)
        for shown in (somebody.get(AT), somebody.get("/contracts")["items"][0]):
            assert {shown[name] for name in (*PRICED, "price_per_kg")} == {None}
    assert api_as("buyer").get(AT)["price"] == kg("2.50")


def test_a_price_does_not_stand_in_the_journal(api: Api, engine: Engine) -> None:
    furnish(api)
    made = api.send("POST", "/contracts", CONTRACT | PRICED | {"price": kg("7.125")})

    changed = api.send("PATCH", AT, {"price": kg("8.375")}, If_Match=made.headers["etag"])

    assert changed.json()["price"] == 8.375
    with reading(engine) as session:
        facts = session.scalars(text("SELECT facts FROM entry WHERE kind LIKE 'contract%'")).all()
    assert len(facts) == 2
    assert not any(figure in fact for fact in facts for figure in ("7.125", "8.375", "USD"))
    assert '"fields":["price"]' in facts[1]


def test_a_retry_answers_the_price_to_whoever_asked_and_to_no_namesake_without_the_permission(
    api: Api, service: Any
) -> None:
    furnish(api)
    with writing(service.state.engine) as session:
        buyer = add_token(session, "desk", [Role.BUYER])
        warehouse = add_token(session, "desk", [Role.WAREHOUSE])
    mine, other = Api(service, buyer), Api(service, warehouse)
    first = mine.send("POST", "/contracts", CONTRACT | PRICED, Idempotency_Key="k-1")

    again = mine.send("POST", "/contracts", CONTRACT | PRICED, Idempotency_Key="k-1")
    refused = other.send("POST", "/contracts", CONTRACT | PRICED, Idempotency_Key="k-1")

    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["etag"] == first.headers["etag"]
    problem(refused, 403, "forbidden")
    mine.close()
    other.close()


# Changing.


def test_a_contract_is_changed_on_the_version_that_was_read(api: Api) -> None:
    furnish(api)
    tag = api.send("POST", "/contracts", CONTRACT | PRICED).headers["etag"]

    problem(api.send("PATCH", AT, {"note": "x"}), 428, "precondition-required")
    changed = api.send("PATCH", AT, {"quantity_kg": 480, "note": "doubled"}, If_Match=tag)
    stale = api.send("PATCH", AT, {"note": "y"}, If_Match=tag)

    assert changed.status_code == 200
    assert (changed.json()["quantity_kg"], changed.json()["version"]) == (480, 2)
    assert changed.json()["price"] == 2.5
    problem(stale, 412, "precondition-failed")


def test_a_delivery_changes_what_is_shown_and_does_not_stand_in_the_way_of_a_change(
    api: Api,
) -> None:
    furnish(api)
    contract(api)
    tag = api.send("GET", AT).headers["etag"]
    assert api.send("GET", AT, If_None_Match=tag).status_code == 304
    arrive(api, {"net_kg": 60}, contract="PC-26/014")

    shown = api.send("GET", AT, If_None_Match=tag)
    changed = api.send("PATCH", AT, {"note": "on its way"}, If_Match=tag)

    assert shown.status_code == 200
    assert shown.json()["received_kg"] == 60
    assert shown.headers["etag"] != tag
    assert changed.status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"price": None}, "#/price"),
        ({"currency": None}, "#/currency"),
        ({"shipped_until": "2025-12-31"}, "#/shipped_until"),
        ({}, "#"),
        ({"quantity_kg": None}, "#"),
        ({"supplier": "Marren"}, "#/supplier"),
        ({"reference": "PC-2"}, "#/reference"),
    ],
)
def test_a_change_that_leaves_half_a_contract_is_refused(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    furnish(api)
    made = contract(api, shipped_from="2026-01-01", **PRICED)

    answer = api.send("PATCH", AT, change, If_Match='"1"')

    assert [error["pointer"] for error in problem(answer, 422, "invalid")["errors"]] == [pointer]
    assert api.get(AT) == made


def test_a_price_can_be_taken_off_as_a_whole(api: Api) -> None:
    furnish(api)
    contract(api, **PRICED)

    changed = api.send("PATCH", AT, dict.fromkeys(PRICED), If_Match="*")

    assert changed.json()["price"] is changed.json()["price_per_kg"] is None


# What came.


@pytest.mark.parametrize(
    ("sacks", "standing"),
    [
        # 240 kg with 3 % either way: 232.8 to 247.2 kg, ends included.
        (["60", "60", "60", "52.799"], "under"),
        (["60", "60", "60", "52.8"], "within"),
        (["60", "60", "60", "67.2"], "within"),
        (["60", "60", "60", "67.201"], "over"),
    ],
)
def test_all_that_came_is_held_against_the_quantity_with_its_tolerance(
    api: Api, sacks: list[str], standing: str
) -> None:
    furnish(api)
    contract(api)
    one, *others = [{"net_kg": kg(each)} for each in sacks]

    arrive(api, one, lot="GL-1", contract="pc-26/014")
    second = arrive(api, *others, lot="GL-2", contract="PC-26/014", shipped_kg=180)

    shown = api.get(AT)
    assert shown["received_kg"] == sum(kg(each) for each in sacks)
    assert shown["standing"] == second["check"]["standing"] == standing
    assert [lot["code"] for each in shown["deliveries"] for lot in each["lots"]] == ["GL-1", "GL-2"]
    assert shown["deliveries"][1]["lots"][0]["shipped_kg"] == 180
    assert api.get("/contracts")["items"][0]["standing"] == standing


def test_a_voided_lot_does_not_count(api: Api) -> None:
    furnish(api)
    contract(api)
    delivery = arrive(api, {"count": 4, "net_kg": 60}, contract="PC-26/014")

    api.post("/units/GL-1/void", {"reason": "entered twice"})

    shown = api.get(AT)
    assert (shown["received_kg"], shown["standing"]) == (0, "under")
    assert shown["deliveries"][0]["lots"][0]["voided"] is True
    check = api.get(f"/deliveries/{delivery['code']}")["check"]
    assert (check["contract_received_kg"], check["lots"]) == (0, [])


@pytest.mark.parametrize(
    ("more", "pointer", "slug"),
    [
        ({"contract": "PC-9"}, "#/contract", "unknown-reference"),
        ({"contract": "1"}, "#/contract", "unknown-reference"),
        ({"contract": "PC-26/014", "supplier": "Marren & Tolle"}, "#/contract", "invalid"),
        ({"contract": "PC-26/014", "discharged_on": days_ago(-2)}, "#/discharged_on", "invalid"),
        ({"contract": ""}, "#/contract", "invalid"),
    ],
)
def test_a_delivery_under_a_contract_that_is_not_its_own_is_refused(
    api: Api, more: dict[str, Any], pointer: str, slug: str
) -> None:
    furnish(api)
    api.post("/suppliers", {"name": "Marren & Tolle"})
    contract(api)
    lot = {"name": "Sidama", "origin": "ET", "sacks": [{"net_kg": 60}]}
    body = {"supplier": "Finca El Roble", "received_at": "2026-03-05T08:00:00Z", "lots": [lot]}

    document = api.refuse("/deliveries", body | more, 422, slug)

    assert [error["pointer"] for error in document["errors"]] == [pointer]
    assert api.get("/lots")["items"] == []


def test_the_clocks_of_a_contract_run_from_the_day_of_discharge(api: Api) -> None:
    # ITC, The Coffee Guide, Arbitration: "Types of dispute and claims": 21 and 45 days; 14 days
    # from a garbled copy of "Quantity, weights and packing".
    furnish(api)
    contract(api)

    today = arrive(api, {"net_kg": 60}, contract="PC-26/014", discharged_on=days_ago(0))
    late = arrive(api, {"net_kg": 60}, lot="GL-2", contract="PC-26/014", discharged_on=days_ago(22))
    unknown = arrive(api, {"net_kg": 60}, lot="GL-3", contract="PC-26/014")

    assert [(c["what"], c["days_left"]) for c in today["check"]["clocks"]] == [
        ("weigh", 14), ("quality_claim", 21), ("technical_claim", 45),
    ]  # fmt: skip
    assert [c["days_left"] for c in late["check"]["clocks"]] == [-8, -1, 23]
    assert late["check"]["clocks"][1]["by"] == days_ago(1)
    assert unknown["check"]["clocks"] == []
    assert api.get("/lots/GL-2/arrival")["clocks"] == late["check"]["clocks"]
    assert api.get(f"/deliveries/{unknown['code']}") == unknown


def test_a_delivery_without_a_contract_is_received_as_ever(api: Api) -> None:
    furnish(api)

    delivery = arrive(api, {"net_kg": 60})

    assert delivery["contract"] is delivery["check"] is delivery["discharged_on"] is None
    assert api.get(f"/deliveries/{delivery['code']}") == delivery
