"""Cover as a range, and what forecasts feed; forward cover, orders and the rest by everything."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any

import pytest

from app.standards.forecasting import choose, cover_range, stock_bands
from tests.api import Api, kg, problem
from tests.cover.conftest import ago, arrive, at, draw, only
from tests.makers import pack

WEEKS = [20, 0, 30, 10, 0, 50, 40, 0, 20, 30, 0, 10]
"""Kilograms that were drawn in each week, the last of them the week that ends today."""
EVERY = ("lot", "origin", "component", "product", "site")


@pytest.fixture
def weekly(house: Api) -> Api:
    """Twelve weeks of use of one lot at the quay; more of the same lot on the hill."""
    (sack, *_) = arrive(house, "GL-1", 210, 300, on=ago(100), location="Q-1")
    arrive(house, "GL-2", 100, on=ago(90), origin="KE", location="H-1")
    house.post("/styles", {"name": "Espresso", "batch_kg": 12, "machine": "DRUM-15", "green": [
        {"share_pct": 100, "lots": ["GL-1", "GL-2"], "component": "Base"},
    ]})  # fmt: skip
    house.send("PATCH", "/products/HOUSE-2000", {"style": "Espresso"}, If_Match="*")
    for week, kilos in enumerate(reversed(WEEKS)):
        if kilos:
            code = draw(house, sack, Decimal(kilos), ago(7 * week + 1), style="Espresso",
                        loss_range_pct=None)  # fmt: skip
            pack(house, {code: Decimal(kilos) * 8 / 10}, kilos * 4 // 10, "HOUSE-2000",
                 packed_at=at(ago(7 * week + 1), 13))  # fmt: skip
    return house


def test_cover_is_told_as_a_range_by_the_forecast_of_its_use(weekly: Api) -> None:
    found = {by: weekly.get(f"/cover?by={by}") for by in EVERY}
    base = only(found["component"], "Base")

    series = [kilos * 1000 for kilos in WEEKS]
    chosen = choose(series)
    lasts = cover_range(
        400_000, series, days_per_period=7, ahead=chosen.forecast, look_ahead_days=364
    )
    said = base["forecast"]
    assert (base["available_kg"], said["weeks"], said["method"]) == (400, 12, chosen.method)
    assert said["weekly_kg"] * 1000 == round(chosen.forecast.rate)
    assert said["demand_class"] == "intermittent"
    assert float(said["days_50"]) == pytest.approx(lasts.days_50, abs=0.05)
    assert float(said["days_90"]) == pytest.approx(lasts.days_90, abs=0.05)
    assert 0 < said["days_90"] < said["days_50"]
    assert said["runs_out_90_on"] == str(ago(-ceil(said["days_90"])))
    assert base["no_forecast"] is None
    # It is what the forecast of the component says, and the same again.
    forecast = only(weekly.get("/forecasts?by=component"), "Base")
    assert [said[name] for name in ("days_50", "days_90")] == [
        forecast[name] for name in ("days_50", "days_90")
    ]
    assert weekly.get("/cover?by=component") == found["component"]
    # Of origins, sites and products there is one too; of a lot the reason why there is none.
    ethiopia, kenya = (only(found["origin"], key) for key in ("ET", "KE"))
    assert ethiopia["forecast"]["weekly_kg"] == said["weekly_kg"]
    assert (kenya["forecast"], kenya["note"]) == (None, "no use in window")
    assert "too little use" in kenya["no_forecast"]
    assert only(found["site"], "QUAY")["forecast"]["days_90"] < said["days_90"]
    product = only(found["product"], "HOUSE-2000")
    assert product["component"] == "Base"
    assert product["forecast"]["days_50"] > said["days_50"]
    lot = only(found["lot"], "GL-1")
    assert lot["forecast"] is None
    assert "decided and no matter of chance" in lot["no_forecast"]


def test_after_the_plan_use_goes_on_as_forecast_and_that_is_said(weekly: Api) -> None:
    found = {by: weekly.get(f"/cover/forward?by={by}&days=28") for by in EVERY}
    base = only(found["component"], "Base")

    # By hand: nothing is planned for 28 days; then a seventh of the forecast's week a day.
    a_day = Fraction(base["forecast"]["weekly_kg"]) / 7
    assert (base["after_plan"], base["planned_kg"]) == ("forecast", 0)
    assert abs(Fraction(base["days_of_cover"]) - 28 - 400 / a_day) < Fraction(1, 10**5)
    assert abs(Fraction(base["daily_use_kg"]) - a_day) < Fraction(1, 10**6)
    # The average of 56 days is beside it.
    assert base["average_use_kg"] == kg("2.678571")
    lot = only(found["lot"], "GL-1")
    assert (lot["after_plan"], lot["daily_use_kg"]) == ("average", kg("2.678571"))
    assert "decided" in lot["no_forecast"]
    order = only(weekly.get("/cover/orders"), "Base")
    assert (order["use_basis"], order["daily_use_kg"]) == ("forecast", base["daily_use_kg"])
    assert "by the forecast" in order["why"]


def test_the_plan_is_told_by_everything_it_takes_from(weekly: Api) -> None:
    weekly.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-3)), "lines": [
        {"product": "HOUSE-2000", "bags": 255},
    ]})  # fmt: skip
    found = {by: weekly.get(f"/cover/forward?by={by}") for by in EVERY}

    # By hand: 84 bags are packed; of 342 kg for the rest 10.5 are roasted; at a loss of 15 % it is
    # 390 kg of green: 300 of GL-1 at the quay, and 90 of GL-2 on the hill.
    planned = {
        by: {row["key"]: row["planned_kg"] for row in found[by]["items"]} for by in EVERY
    }  # fmt: skip
    assert planned["component"] == {"Base": 390}
    assert planned["lot"] == {"GL-1": 300, "GL-2": 90}
    assert planned["origin"] == {"ET": 300, "KE": 90}
    assert planned["site"] == {"QUAY": 300, "Hill": 90}
    # Of a product it is what its bags want, whatever is roasted.
    assert planned["product"] == {"HOUSE-2000": kg("402.353")}
    assert {by: found[by]["short_kg"] for by in EVERY} == dict.fromkeys(EVERY, 0)


def test_a_component_that_is_wanted_and_nowhere_there_runs_out_first(weekly: Api) -> None:
    weekly.post("/styles", {"name": "New", "loss_pct": 20, "green": [
        {"share_pct": 100, "lots": ["GL-2"], "component": "Top"},
    ]})  # fmt: skip
    weekly.send("PATCH", "/products/HOUSE-250", {"style": "New"}, If_Match="*")
    weekly.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-3)), "lines": [
        {"product": "HOUSE-250", "bags": 640},
    ]})  # fmt: skip
    (sack,) = (each["code"] for each in weekly.get("/sacks?lot=GL-2")["items"])
    weekly.post("/adjustments", {"unit": sack, "kg": -100, "reason": "destroyed"})

    found = weekly.get("/cover/forward?by=component")

    # By hand: 160 kg in bags at a loss of 20 % are 200 kg of green.
    top = found["items"][0]
    assert (top["key"], top["on_hand_kg"], top["planned_kg"]) == ("Top", 0, 200)
    assert (top["days_of_cover"], top["runs_out_on"]) == (0, str(ago(0)))
    assert found["short_kg"] == 200


def test_orders_projection_and_what_if_go_by_products_and_sites_too(weekly: Api) -> None:
    weekly.post("/contracts", {
        "reference": "PC-1", "supplier": "Finca El Roble", "weight_basis": "landed",
        "quantity_kg": 600, "origin": "ET", "component": "Base", "ordered_on": str(ago(20)),
        "expected_on": str(ago(-40)),
    })  # fmt: skip
    for item, days in (("site: quay", 3), ("product:house-2000", 50)):
        weekly.post("/planning-cards", {"item": item, "lead_time_days": days})
    product = only(weekly.get("/cover/orders?by=product"), "HOUSE-2000")
    quay = only(weekly.get("/cover/orders?by=site"), "QUAY")

    assert (product["component"], product["on_order_kg"]) == ("Base", 600)
    assert (product["lead_time"]["days"], quay["lead_time"]["days"]) == (50, 3)
    # No contract says to which site it goes.
    assert (quay["on_order_kg"], quay["available_kg"]) == (0, 300)
    problem(weekly.send("GET", "/cover/orders?by=lot"), 422, "invalid")
    # A lot is projected until it is empty, and never ordered again.
    lot = weekly.get("/cover/projection?by=lot&key=gl-1&days=300")
    assert [lot[name] for name in ("reorder_point_kg", "safety_stock_kg", "order_by")] == [None] * 3
    assert lot["runs_out_on"] is not None
    assert lot["after_plan"] == "average"
    one = weekly.get("/cover/projection?by=product&key=House-2000&days=60")
    assert (one["component"], [each["contract"] for each in one["arrivals"]]) == ("Base", ["PC-1"])
    assert weekly.get("/cover/projection?by=site&key=Hill&days=3")["days"][-1]["low_kg"] == 100
    # By hand: 119 bags of 2 kg a week are 34 kg a day, 40 kg of green at a loss of 15 %.
    asked = {"joins": [{"product": "HOUSE-2000", "bags_a_week": 119}], "fails": ["GL-2"]}
    (bags,) = weekly.post("/cover/what-if", asked | {"by": "product"})["items"]
    sites = weekly.post("/cover/what-if", asked | {"by": "site"})
    assert (bags["key"], bags["after"]["component"]) == ("HOUSE-2000", "Base")
    assert (bags["before"]["available_kg"], bags["after"]["available_kg"]) == (400, 300)
    more = bags["after"]["daily_use_kg"] - bags["before"]["daily_use_kg"]
    assert more == kg("40")
    assert [(each["key"], each["after"]["available_kg"]) for each in sites["items"]] == [
        ("Hill", 0), ("QUAY", 300),
    ]  # fmt: skip
    at_quay = only(sites, "QUAY")
    assert at_quay["after"]["daily_use_kg"] - at_quay["before"]["daily_use_kg"] == 40


def test_projected_stock_is_bounded_as_chance_plays_the_forecast(weekly: Api) -> None:
    weekly.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-3)), "lines": [
        {"product": "HOUSE-2000", "bags": 100},
    ]})  # fmt: skip
    found = weekly.get("/cover/projection?key=Base&days=120")

    assert (found["after_plan"], found["no_forecast"], found["plan_days"]) == ("forecast", None, 28)
    series = [kilos * 1000 for kilos in WEEKS]
    ahead = choose(series).forecast
    wanted = [float(day["planned_kg"]) * 1000 for day in found["days"]]
    bands = stock_bands(400_000, [0] * 120, wanted, series, ahead, days_per_period=7)
    for day, (low, some_low, some_high, high) in zip(found["days"], bands, strict=True):
        there = float(day["expected_kg"])
        # Planned grams are shown rounded up, so a gram a day may be between.
        assert float(day["low_kg"]) == pytest.approx(min(low / 1000, there), abs=0.12)
        assert float(day["low_50_kg"]) == pytest.approx(min(some_low / 1000, there), abs=0.12)
        assert float(day["high_50_kg"]) == pytest.approx(max(some_high / 1000, there), abs=0.12)
        assert float(day["high_kg"]) == pytest.approx(max(high / 1000, there), abs=0.12)
        # Stock does not rise without anything that arrives.
        assert day["low_kg"] <= day["low_50_kg"] <= day["expected_kg"]
        assert day["expected_kg"] <= day["high_50_kg"] <= day["high_kg"] <= 400
    assert weekly.get("/cover/projection?key=Base&days=120") == found


def test_a_batch_of_a_lot_that_is_gone_is_short_and_breaks_nothing(
    weekly: Api, book_is_sound: Callable[[], None]
) -> None:
    weekly.post("/batches", {"on": str(ago(-1)), "style": "Espresso"})
    for sack in weekly.get("/sacks?lot=GL-1&on_hand=true")["items"]:
        weekly.post("/adjustments", {
            "unit": sack["code"], "kg": -sack["on_hand_kg"], "reason": "destroyed",
        })  # fmt: skip

    found: dict[str, Any] = {by: weekly.get(f"/cover/forward?by={by}") for by in EVERY}

    assert found["component"]["short_kg"] == 12
    assert only(found["component"], "Base")["planned_kg"] == 12
    assert only(found["lot"], "GL-1")["planned_kg"] == 0
    assert only(found["site"], "QUAY")["days_of_cover"] == 0
    book_is_sound()
