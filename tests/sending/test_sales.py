"""Sales over the counter: to nobody known, and still on the way of a trace."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from app.sending.sales.rules import moment_of, newest_day
from tests.api import Api, kg, problem


@pytest.fixture
def shop(api: Api, bags: str) -> str:  # noqa: ARG001 - there is something to sell
    """A counter beside the roastery."""
    name: str = api.post("/customers", {"name": "Quay counter", "kind": "consumers"})["name"]
    return name


def sell(api: Api, bags: str, count: int, **more: Any) -> dict[str, Any]:
    body = {
        "shop": "Quay counter", "sold_on": "2026-03-09", "lines": [{"pack": bags, "bags": count}],
    }  # fmt: skip
    made: dict[str, Any] = api.post("/sales", body | more)
    return made


def test_bags_sold_over_a_counter_are_on_the_way_of_a_trace_by_shop_and_day(
    api: Api, shop: str, bags: str
) -> None:
    sold = sell(api, bags, 7, code="SALE-1")
    sell(api, bags, 2, sold_on="2026-03-10")

    trace = api.get("/trace/GL-1")

    [customer] = trace["customers"]
    assert (customer["customer"], customer["bags"], customer["kind"]) == (shop, 9, "consumers")
    assert customer["sold_on"] == ["2026-03-09", "2026-03-10"]
    assert customer["dispatches"][0] == "SALE-1"
    assert trace["balance"]["dispatched_kg"] == kg("2.25")
    assert trace["balance"]["accounted_pct"] == 100
    assert api.get(f"/packs/{bags}")["bags_left"] == 90
    assert sold["lines"] == [
        {"pack": bags, "product": "HOUSE-250", "bags": 7, "kg": kg("1.75"), "returned_bags": 0}
    ]


def test_what_a_business_was_sent_is_told_from_what_consumers_bought(
    api: Api, shop: str, bags: str
) -> None:
    line = {"pack": bags, "bags": 1}

    [over] = api.refuse("/dispatches", {"customer": shop, "lines": [line]}, 422, "invalid")[
        "errors"
    ]
    body = {"shop": "Café Nord", "sold_on": "2026-03-09", "lines": [line]}
    [sent] = api.refuse("/sales", body, 422, "invalid")["errors"]

    assert (over["pointer"], sent["pointer"]) == ("#/customer", "#/shop")
    assert "/sales" in over["detail"]
    assert "/dispatches" in sent["detail"]
    assert api.get("/dispatches")["items"] == []
    assert api.get(f"/trace/{bags}")["customers"] == []


@pytest.mark.usefixtures("shop")
def test_a_sale_is_taken_back_and_voided_as_a_dispatch_is(api: Api, bags: str) -> None:
    sold = sell(api, bags, 7)["code"]
    back = api.post("/returns", {
        "dispatch": sold, "lines": [{"pack": bags, "bags": 2}], "reason": "wrong grind",
    })  # fmt: skip
    other = sell(api, bags, 3)["code"]
    api.post(f"/units/{other}/void", {"reason": "counted twice"})

    listed = api.get(f"/sales?shop=quay%20counter&pack={bags}&from=2026-03-09&to=2026-03-09")

    first, second = listed["items"]
    assert back["held"] is True
    assert (first["left_kg"], first["lines"][0]["returned_bags"]) == (kg("1.25"), 2)
    assert (second["voided"], second["code"]) == (True, other)
    assert api.get("/sales?from=2026-03-10")["items"] == []
    assert api.get("/sales?to=2026-03-08")["items"] == []
    problem(api.send("GET", "/sales?shop=nobody"), 404, "not-found")


def test_no_more_is_sold_than_is_there_and_free(api: Api, shop: str, bags: str) -> None:
    api.post("/cases", {"code": "CASE-1", "contents": [{"pack": bags, "bags": 60}]})
    body = {"shop": shop, "sold_on": "2026-03-09", "lines": [{"pack": bags, "bags": 40}]}

    free = api.refuse("/sales", body, 409, "not-free")
    body["lines"] = [{"pack": bags, "bags": 100}]
    short = api.refuse("/sales", body, 409, "insufficient-stock")
    body |= {"sold_on": "2099-01-01", "lines": [{"pack": bags, "bags": 1}]}
    [late] = api.refuse("/sales", body, 422, "invalid")["errors"]

    assert (free["free_bags"], short["left_kg"]) == (39, kg("24.75"))
    assert late["pointer"] == "#/sold_on"
    assert api.get("/sales")["items"] == []


@pytest.mark.parametrize(("now", "newest"), [
    # A day begins first at UTC+14 (time zone database, Pacific/Kiritimati; from memory).
    ("2026-03-09T09:59:59+00:00", date(2026, 3, 9)),
    ("2026-03-09T10:00:00+00:00", date(2026, 3, 10)),
])  # fmt: skip
def test_a_day_can_be_sold_on_once_it_has_begun_anywhere(now: str, newest: date) -> None:
    assert newest_day(datetime.fromisoformat(now)) == newest


def test_the_sales_of_a_day_had_happened_by_its_end_or_by_now() -> None:
    noon = datetime(2026, 3, 9, 12, tzinfo=UTC)

    assert moment_of(date(2026, 3, 8), noon) == datetime(2026, 3, 8, 23, 59, 59, tzinfo=UTC)
    assert moment_of(date(2026, 3, 9), noon) == noon
    assert moment_of(date(2026, 3, 10), noon) == noon
