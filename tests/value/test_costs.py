"""What green cost until it was there, and down to the bag."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event, select
from sqlmodel import col

from app.ledger.tables import Entry
from app.settings import Settings
from app.shared.db import reading
from app.standards.costing import CostMethod
from tests.api import Api, kg, problem
from tests.green.arrivals.contracted import arrive, contract
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.notes.operations import operations
from tests.records import Rows, refuse_changes, refuse_emptying, refuse_replacing, rows_of


def bought(api: Api, lot: str, price: str, *net_kg: Any, currency: str = "EUR", **more: Any) -> str:
    """Receive a lot of one sack and book what a kilogram cost."""
    [sack] = sack_codes(receive(api, *(net_kg or (60,)), lot=lot, **more))
    api.post("/costs", {"lot": lot, "kind": "purchase", "price": kg(price), "price_unit": "kg",
                        "currency": currency})  # fmt: skip
    return sack


def per_kg(api: Api, code: str) -> dict[str, Decimal]:
    """What a kilogram of a unit cost, by currency."""
    return {each["currency"]: each["per_kg"] for each in api.get(f"/units/{code}/cost")["costs"]}


def amounts(rows: list[dict[str, Any]]) -> dict[str, Decimal]:
    return {each["currency"]: each["amount"] for each in rows}


def test_landed_cost_is_everything_paid_by_the_kilogram_that_landed(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # ITC, The Coffee Guide: who pays freight and insurance follows from the term of delivery; the
    # elements of landed cost are common practice, no source.
    furnish(api)
    contract(api, price=kg("2.50"), currency="USD", price_unit="lb")
    code = arrive(api, {"count": 4, "net_kg": 59}, contract="PC-26/014", shipped_kg=240)["code"]

    found = api.get("/lots/GL-1/cost")
    assert (found["purchase_from"], found["weight_basis"]) == ("contract", "shipped")
    # 240 kg were shipped and paid; 236 landed: 2.50 / 0.45359237 * 240 / 236.
    assert amounts(found["costs"]) == {"USD": kg("1322.77")}
    assert found["costs"][0]["per_kg"] == kg("5.605")

    of_all = {"delivery": code, "currency": "EUR"}
    for kind, paid in (
        ("freight", "310.40"), ("insurance", "12"), ("duty", "0.0001"), ("port", "45"),
        ("customs_agent", "60"), ("haulage", "88"), ("inspection", "15"), ("finance", "20.50"),
        ("storage", "9.0999"),
    ):  # fmt: skip
        api.post("/costs", of_all | {"kind": kind, "amount": kg(paid)})
    wrong = api.post("/costs", of_all | {"kind": "other", "amount": 900, "note": "of another"})
    api.post("/costs", {"lot": "GL-1", "kind": "claim", "amount": 30, "currency": "USD"})
    before = amounts(api.get("/lots/GL-1/cost")["costs"])
    api.post(f"/costs/{wrong['id']}/void", {"reason": "the invoice was for another house"})

    found = api.get("/lots/gl-1/cost")
    assert before == {"EUR": kg("1460"), "USD": kg("1292.77")}
    assert amounts(found["costs"]) == {"EUR": kg("560"), "USD": kg("1292.77")}
    assert found["costs"][0]["per_kg_exact"] == "140/59"
    assert len(found["parts"]) == 11
    assert (found["net_landed_kg"], found["unpriced_kg"]) == (236, 0)
    assert [each["voided"] for each in api.get("/costs?lot=GL-1")["items"]] == [False]
    listed = api.get(f"/costs?delivery={code}")["items"]
    assert (len(listed), listed[-1]["voided"], listed[-1]["note"]) == (10, True, "of another")
    # A purchase that is booked counts instead of the price of the contract.
    api.post("/costs", {"lot": "GL-1", "kind": "purchase", "amount": 1416, "currency": "GBP"})
    found = api.get("/lots/GL-1/cost")
    assert found["purchase_from"] == "costs"
    assert amounts(found["costs"]) == {"EUR": 560, "GBP": 1416, "USD": -30}
    book_is_sound()


def test_lots_share_the_costs_of_their_delivery_by_what_they_weighed(api: Api) -> None:
    furnish(api)
    lots = [
        {"code": code, "name": code, "origin": "ET", "sacks": [{"net_kg": net}]}
        for code, net in (("GL-1", 60), ("GL-2", 30))
    ]
    body = {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": lots}
    code = api.post("/deliveries", body)["code"]
    api.post("/costs", {"delivery": code.lower(), "kind": "freight", "amount": 100,
                        "currency": "EUR"})  # fmt: skip

    shares = [api.get(f"/lots/{lot}/cost") for lot in ("GL-1", "GL-2")]

    assert [each["costs"][0]["amount"] for each in shares] == [kg("66.67"), kg("33.33")]
    assert [each["parts"][0]["of_delivery"] for each in shares] == [True, True]
    # Freight alone is no price: the lots say that they have none.
    assert [(each["purchase_from"], each["unpriced_kg"]) for each in shares] == [
        (None, 60), (None, 30),
    ]  # fmt: skip
    # A lot that never was leaves its part to the others.
    api.post("/units/GL-2/void", {"reason": "booked twice"})
    assert amounts(api.get("/lots/GL-1/cost")["costs"]) == {"EUR": 100}
    problem(api.send("GET", "/lots/GL-2/cost"), 409, "voided")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"lot": None}, "#"),
        ({"delivery": "D-1"}, "#"),
        ({"amount": None}, "#"),
        ({"price": 2, "price_unit": "kg"}, "#"),
        ({"amount": None, "price": 2}, "#"),
        ({"amount": None, "price": 2, "price_unit": "kg", "kind": "freight"}, "#"),
        ({"amount": 0}, "#/amount"),
        ({"amount": -1}, "#/amount"),
        ({"amount": "5"}, "#/amount"),
        ({"amount": kg("0.00001")}, "#/amount"),
        ({"amount": 1_000_000_000}, "#/amount"),
        ({"currency": "XXY"}, "#/currency"),
        ({"kind": "gift"}, "#/kind"),
        ({"happened_at": "2999-01-01T00:00:00Z"}, "#/happened_at"),
        ({"lot": None, "delivery": "NONE"}, "#/delivery"),
    ],
)
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_cost_that_cannot_be_is_refused(api: Api, change: dict[str, Any], pointer: str) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    body = {"lot": "GL-1", "kind": "purchase", "amount": 5, "currency": "EUR"} | change
    said = {name: value for name, value in body.items() if value is not None}

    refused = api.refuse("/costs", said, 422, "invalid")

    assert refused["errors"][0]["pointer"] == pointer
    assert api.get("/costs")["items"] == []


def test_a_cost_is_voided_once_and_needs_a_lot_that_is_there(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))
    cost = {"kind": "purchase", "amount": 5, "currency": "eur"}
    first = api.send("POST", "/costs", cost | {"lot": "GL-1"}, Idempotency_Key="k-1")
    again = api.send("POST", "/costs", cost | {"lot": "GL-1"}, Idempotency_Key="k-1")
    assert (first.content, again.headers["Idempotency-Replayed"]) == (again.content, "true")
    api.refuse("/costs", cost | {"lot": sack}, 409, "wrong-kind")
    api.refuse("/costs", cost | {"lot": "GL-9"}, 404, "unknown-code")
    why = {"reason": "typed twice"}
    api.post("/costs/1/void", why)
    assert "typed twice" in api.refuse("/costs/1/void", why, 409, "already-done")["detail"]
    api.refuse("/costs/2/void", why, 404, "not-found")
    api.post("/units/GL-1/void", {"reason": "never came"})
    api.refuse("/costs", cost | {"lot": "GL-1"}, 409, "voided")


def test_roast_loss_and_blends_carry_the_cost_to_the_bag(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # Common practice, no source: green divided by what the roast keeps, blends by roasted mass.
    furnish(api)
    at_8, at_7 = bought(api, "GL-8", "8.00"), bought(api, "GL-7", "7.00")
    at_950 = bought(api, "GL-95", "9.50", currency="USD", origin="CO")
    assert per_kg(api, roast(api, {at_8: 20}, 17, code="R-15")["code"]) == {"EUR": kg("9.4118")}
    assert per_kg(api, roast(api, {at_8: 25}, 21, code="R-16")["code"]) == {"EUR": kg("9.5238")}
    # Blended after roasting: 60 % at a loss of 14.5 %, 40 % at a loss of 16 %.
    roast(api, {at_7: 20}, kg("17.1"), code="R-A")
    roast(api, {at_950: 20}, kg("16.8"), code="R-B")
    blend(api, {"R-A": 6, "R-B": 4}, code="B-1")
    apart = per_kg(api, "B-1")
    assert apart == {"EUR": kg("4.9123"), "USD": kg("4.5238")}
    assert sum(apart.values()) == kg("9.4361")
    # Blended before roasting, 60 and 40 of green at one loss of 15 %.
    roast(api, {at_7: 12, at_950: 8}, 17, code="R-C")
    assert sum(per_kg(api, "R-C").values()) == kg("9.4118")

    pack(api, {"B-1": kg("8.1")}, bags=32, code="P-1")
    found = api.get("/units/P-1/cost")

    # 8.1 kg came to the line for 8 kg in bags: what packing loses stays in the product.
    assert (found["bags"], found["made_kg"], found["method"]) == (32, 8, "specific")
    assert found["costs"][0]["per_kg_exact"] == "189/38"
    assert found["per_bag"][0] == {"currency": "EUR", "amount": kg("1.2434")}
    assert [(each["unit"], each["kg"]) for each in found["parts"]] == [("B-1", kg("8.1"))]
    assert found["unpriced_green_kg"] == 0
    # A lot without a price shows in everything it gets into, as the green that it is.
    [free] = sack_codes(receive(api, 60, lot="GL-0"))
    roast(api, {free: 10, at_8: 10}, 17, code="R-0")
    pack(api, {"R-0": kg("8.5")}, bags=34, code="P-0")
    found = api.get("/units/P-0/cost")
    assert found["unpriced_green_kg"] == 5
    assert amounts(found["costs"]) == {"EUR": 40}
    book_is_sound()


METHODS = {
    # Two lots of one origin, 60 kg at 8 and 60 kg at 10; 70 kg drawn of the second and the first.
    "specific": {"R-1": "600", "R-2": "80", "green": "400"},
    "fifo": {"R-1": "480", "R-2": "100", "green": "500"},
    "moving_average": {"R-1": "540", "R-2": "90", "green": "450"},
}


@pytest.mark.parametrize("method", list(METHODS))
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_green_is_priced_by_the_method_of_the_firm(
    api: Api, service: FastAPI, settings: Settings, method: str
) -> None:
    service.state.settings = settings.model_copy(update={"cost_method": CostMethod(method)})
    furnish(api)
    first, second = bought(api, "GL-1", "8"), bought(api, "GL-2", "10")
    bought(api, "GL-3", "3", origin="BR")
    roast(api, {second: 60}, 51, code="R-1")
    roast(api, {first: 10}, kg("8.5"), code="R-2")

    worth = api.get("/valuation")

    expected = METHODS[method]
    for code in ("R-1", "R-2"):
        assert amounts(api.get(f"/units/{code}/cost")["costs"]) == {"EUR": kg(expected[code])}
    green = [row for row in worth["items"] if row["kind"] == "green"]
    assert sum(row["costs"][0]["amount"] for row in green) == kg(expected["green"]) + 180
    assert worth["pooled_by"] == (None if method == "specific" else "origin")
    assert worth["totals"] == [{"currency": "EUR", "amount": 600 + 480 + 180}]


@pytest.mark.parametrize("method", list(METHODS))
def test_what_was_paid_is_in_stock_or_sent_or_expensed(
    api: Api, service: FastAPI, settings: Settings, method: str
) -> None:
    service.state.settings = settings.model_copy(update={"cost_method": CostMethod(method)})
    furnish(api)
    lots = [
        {"code": "GL-1", "name": "Sidama", "origin": "ET", "sweepings_kg": kg("1.5"),
         "sacks": [{"net_kg": 60}]},
        {"code": "GL-2", "name": "Guji", "origin": "ET", "sacks": [{"net_kg": kg("59.77")}]},
    ]  # fmt: skip
    body = {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": lots}
    delivery = api.post("/deliveries", body)
    one, two = delivery["lots"][0]["sacks"][0]["code"], delivery["lots"][1]["sacks"][0]["code"]
    for lot, price in (("GL-1", "431.07"), ("GL-2", "555.55")):
        api.post("/costs", {"lot": lot, "kind": "purchase", "amount": kg(price),
                            "currency": "EUR"})  # fmt: skip
    api.post("/costs", {"delivery": delivery["code"], "kind": "freight", "amount": kg("77.77"),
                        "currency": "USD"})  # fmt: skip
    api.post("/adjustments", {"unit": one, "kg": kg("-0.35"), "reason": "sample"})
    api.post("/adjustments", {"unit": one, "kg": kg("-0.5"), "reason": "spill"})
    api.post("/adjustments", {"unit": two, "kg": kg("0.23"), "reason": "count"})
    roast(api, {one: 30, two: 12}, kg("35.7"), code="R-1")
    roast(api, {two: 10}, kg("8.6"), code="R-2")
    api.post("/adjustments", {"unit": "R-1", "kg": kg("-0.12"), "reason": "sample"})
    blend(api, {"R-1": 10, "R-2": 5}, code="B-1")
    pack(api, {"B-1": kg("10.1")}, bags=40, code="P-1")
    sent = dispatch(api, {"P-1": 12})["code"]
    api.post("/returns", {"dispatch": sent, "lines": [{"pack": "P-1", "bags": 2}],
                          "reason": "unsold"})  # fmt: skip
    api.post("/adjustments", {"unit": "P-1", "kg": kg("-0.25"), "reason": "destroyed"})
    api.post("/adjustments/2/void", {"reason": "swept back in"})

    worth, lost = api.get("/valuation"), api.get("/expenses")
    bag = {each["currency"]: each["amount"] for each in api.get("/units/P-1/cost")["per_bag"]}

    for currency, paid in (("EUR", kg("986.62")), ("USD", kg("77.77"))):
        whole = (
            amounts(worth["totals"])[currency] + amounts(lost["totals"])[currency]
            + 10 * bag[currency]
        )  # fmt: skip
        # Every row is rounded to the cent, and the bag to four decimals.
        assert abs(whole - paid) < kg("0.06"), (currency, whole)
    reasons = {each["reason"]: each["kg"] for each in lost["items"]}
    assert reasons == {"sample": kg("0.47"), "count": kg("-0.23"), "destroyed": kg("0.25"),
                       "sweepings": kg("1.5")}  # fmt: skip
    assert sum(row["kg"] for row in worth["items"]) == sum(
        each["on_hand_kg"] for each in api.get("/lots")["items"]
    ) - kg("1.5") + (kg("35.7") - kg("0.12") - 10) + kg("3.6") + kg("4.9") + kg("6.75") + kg("0.5")


def test_stock_is_valued_at_the_end_of_any_past_day(api: Api) -> None:
    furnish(api)
    sack = bought(api, "GL-1", "8")  # received on 2 March 2026
    api.post("/adjustments", {"unit": sack, "kg": -2, "reason": "sample",
                              "happened_at": "2026-03-04T10:00:00Z"})  # fmt: skip
    roast(api, {sack: 20}, 17, code="R-1", roasted_at="2026-03-05T10:00:00Z")
    pack(api, {"R-1": 10}, bags=40, code="P-1", packed_at="2026-03-06T23:59:59Z")

    def on(day: str) -> dict[str, Decimal]:
        rows = api.get(f"/valuation?on={day}")["items"]
        return {row["key"]: row["costs"][0]["amount"] for row in rows}

    assert on("2026-03-01") == {}
    assert on("2026-03-02") == {"GL-1": 480}
    assert on("2026-03-04") == {"GL-1": 464}
    assert on("2026-03-05") == {"GL-1": 304, "R-1": 160}
    assert on("2026-03-06") == {"GL-1": 304, "R-1": kg("65.88"), "P-1": kg("94.12")}
    # A sample of the fourth is an expense of the fourth.
    days = "/expenses?from=2026-03-0{0}&to=2026-03-0{0}"
    assert amounts(api.get(days.format(4))["totals"]) == {"EUR": 16}
    assert api.get(days.format(3))["items"] == []
    ahead = (datetime.now(UTC) + timedelta(days=2)).date()
    problem(api.send("GET", f"/valuation?on={ahead}"), 422, "invalid")
    problem(api.send("GET", "/expenses?from=2026-03-02&to=2026-03-01"), 422, "invalid")


def test_what_is_used_for_most_money_is_a_and_currencies_are_ranked_apart(api: Api) -> None:
    furnish(api)
    drawn = {"GL-A": ("8", 50), "GL-B": ("5", 12), "GL-C": ("2", 10), "GL-U": ("3", 10)}
    for lot, (price, used) in drawn.items():
        currency = "USD" if lot == "GL-U" else "EUR"
        roast(api, {bought(api, lot, price, currency=currency): used}, used * kg("0.85"))

    found = api.get("/abc")

    euro, dollar = found["currencies"]
    assert [(row["key"], row["value"], row["letter"]) for row in euro["items"]] == [
        ("GL-A", 400, "A"), ("GL-B", 60, "C"), ("GL-C", 20, "C"),
    ]  # fmt: skip
    assert [(row["key"], row["letter"]) for row in dollar["items"]] == [("GL-U", "A")]
    assert (euro["items"][0]["cumulative_pct"], found["unpriced_kg"]) == (kg("83.33"), 0)
    [euro, _] = api.get("/abc?by=origin")["currencies"]
    assert [(row["key"], row["used_kg"], row["value"]) for row in euro["items"]] == [
        ("ET", 72, 480)
    ]  # fmt: skip


def test_prices_are_in_no_answer_to_anybody_but_buyers_and_administrators(
    api: Api, api_as: Callable[..., Api], service: FastAPI, engine: Engine
) -> None:
    furnish(api)
    buyer = api_as("buyer")
    contract(buyer, price=kg("7.61873"), currency="USD", price_unit="lb")
    code = arrive(api, {"net_kg": 60}, contract="PC-26/014")["code"]
    buyer.post("/costs", {"delivery": code, "kind": "freight", "amount": kg("761873.5"),
                          "currency": "EUR", "note": "freight of 761873"})  # fmt: skip
    buyer.post("/costs", {"lot": "GL-1", "kind": "purchase", "price": kg("9761.873"),
                          "price_unit": "kg", "currency": "CHF"})  # fmt: skip
    buyer.post("/costs/2/void", {"reason": "wrong lot"})
    [sack] = [each["code"] for each in api.get("/sacks?lot=GL-1")["items"]]
    roast(api, {sack: 20}, 17, code="R-1")
    pack(api, {"R-1": 10}, bags=40, code="P-1")
    dispatch(api, {"P-1": 2}, code="D-1")
    named = {"code": "P-1", "reference": "PC-26/014", "number": "1", "key": "1"}
    paths = [
        path.removeprefix("/api/v1")
        for method, path, _ in operations(service.openapi())
        if method == "get" and path.startswith("/api/v1")
    ]
    priced = {
        "/costs",
        "/lots/{code}/cost",
        "/units/{code}/cost",
        "/valuation",
        "/expenses",
        "/abc",
    }
    digits = "".join

    others = api_as("warehouse", "roaster", "quality")
    for path in paths:
        for unit in {"{code}": ("GL-1", "R-1", "P-1", code)}.get(
            next((part for part in path.split("/") if part == "{code}"), ""), ("",)
        ):
            whole = path.replace("{code}", unit)
            for name, value in named.items():
                whole = whole.replace("{" + name + "}", value)
            answer = others.send("GET", whole)
            assert "761873" not in digits(filter(str.isdigit, answer.text)), whole
            if path in priced:
                problem(answer, 403, "forbidden")
                assert answer.json()["permission"] == "prices:see"
    assert len(paths) > 60
    assert priced <= set(paths)
    for body, at in (({"lot": "GL-1"}, "/costs"), ({"reason": "x"}, "/costs/1/void")):
        assert others.refuse(at, body, 403, "forbidden")["permission"] == "costs:book"
    # Nor does the journal hold them, whoever may read it one day.
    with reading(engine) as session:
        facts = session.scalars(select(col(Entry.facts)).where(col(Entry.kind) == "cost")).all()
    assert [json.loads(each)["said"] for each in facts] == [
        {"cost": 1, "delivery": code, "kind": "freight"},
        {"cost": 2, "kind": "purchase", "lot": "GL-1"},
    ]
    assert "761873" in buyer.send("GET", "/costs").text


def test_costs_take_the_same_statements_however_much_there_is(
    api: Api, engine: Engine, service: FastAPI, settings: Settings
) -> None:
    service.state.settings = settings.model_copy(update={"cost_method": CostMethod.FIFO})
    furnish(api)

    def statements(path: str) -> int:
        seen: list[str] = []
        note: Callable[..., None] = lambda *said: seen.append(said[2])  # noqa: E731
        event.listen(engine, "before_cursor_execute", note)
        api.get(path)
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    def one_more(number: int) -> None:
        sack = bought(api, f"GL-{number}", "8")
        api.post("/adjustments", {"unit": sack, "kg": -1, "reason": "sample"})
        roast(api, {sack: 20}, 17, code=f"R-{number}")
        pack(api, {f"R-{number}": 10}, bags=40, code=f"P-{number}")

    one_more(1)
    paths = ("/lots/GL-1/cost", "/units/P-1/cost", "/valuation", "/expenses", "/abc", "/costs",
             "/ageing")  # fmt: skip
    one = {path: statements(path) for path in paths}
    for number in range(2, 5):
        one_more(number)

    assert {path: statements(path) for path in paths} == one
    assert max(one.values()) <= 20


@pytest.fixture
def records(api: Api, engine: Engine) -> Rows:
    """A cost, and one that was voided."""
    furnish(api)
    bought(api, "GL-1", "8")
    api.post("/costs/1/void", {"reason": "typed twice"})
    there = rows_of(engine, ("cost_line", "cost_line_void"))
    assert all(there.values())
    return there


def test_no_cost_can_be_changed_or_deleted(engine: Engine, records: Rows) -> None:
    refuse_changes(engine, records)


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_table_of_costs_can_be_emptied(engine: Engine, records: Rows) -> None:
    refuse_emptying(engine, records)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_no_cost_can_be_replaced_by_inserting_over_it(engine: Engine, records: Rows) -> None:
    refuse_replacing(engine, records)


def test_a_cost_follows_the_lot_that_is_booked_in_the_place_of_another(api: Api) -> None:
    furnish(api)
    code = arrive(api, {"net_kg": 60}, lot="GL-1")["code"]
    api.post("/costs", {"delivery": code, "kind": "freight", "amount": 30, "currency": "EUR"})
    api.post("/costs", {"lot": "GL-1", "kind": "purchase", "amount": 570, "currency": "EUR"})
    arrive(api, {"net_kg": 50}, lot="GL-1B", corrects="GL-1", correction_reason="mistyped")

    found = api.get("/lots/GL-1B/cost")

    assert amounts(found["costs"]) == {"EUR": 600}
    assert found["costs"][0]["per_kg"] == 12
