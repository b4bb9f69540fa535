"""Looking ahead: products to green, the dated plan, what to order, what if."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from statistics import variance

import pytest

from tests.api import Api, kg, problem
from tests.cover.conftest import ago, arrive, at, draw, only
from tests.makers import pack


@pytest.fixture
def busy(house: Api) -> Api:
    """6,900 kg of green, a fifth of it held; 2,800 kg packed in four weeks at a loss of 15 %."""
    drawn, _, held = arrive(house, "GL-1", 3300, 5520, 1380, on=ago(30))
    house.post("/styles", {"name": "Espresso", "batch_kg": 12, "machine": "DRUM-15", "green": [
        {"share_pct": 100, "lots": ["GL-1"], "component": "Base"},
    ]})  # fmt: skip
    house.send("PATCH", "/products/HOUSE-2000", {"style": "Espresso"}, If_Match="*")
    roasted = draw(house, drawn, kg("3300"), ago(4), style="Espresso", loss_range_pct=None)
    pack(house, {roasted: 2800}, 1400, "HOUSE-2000", packed_at=at(ago(3)))
    house.post("/holds", {"units": [held], "reason": "wet on arrival"})
    return house


def test_a_product_s_demand_becomes_green_by_its_measured_loss(busy: Api) -> None:
    found = busy.get("/cover?by=product")
    (one,) = found["items"]

    # By hand: 100 kg roasted a day at 15 % are 117.647 kg of green (not 115); 5,520 kg of it last
    # 46.92 days, and 6,900 if all is released 58.65 (69 if the loss is forgotten).
    assert (one["key"], one["component"], one["available_kg"]) == ("HOUSE-2000", "Base", 5520)
    assert one["daily_use_kg"] == kg("117.647059")
    assert (one["days_of_cover"], one["days_if_released"]) == (kg("46.92"), kg("58.65"))
    assert found["gaps"] == [
        {"of": "HOUSE-250", "why": "a product that names neither recipe nor style"}
    ]
    # 14 days later the same 2,800 kg are spread over the long window.
    assert one["windows"][1]["daily_use_kg"] == kg("58.823529")


def test_forward_cover_takes_what_is_packed_and_roasted_first_and_plans_once(busy: Api) -> None:
    busy.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-3)), "lines": [
        {"product": "HOUSE-2000", "bags": 1500},
    ]})  # fmt: skip
    plain = only(busy.get("/cover/forward?by=component"), "Base")
    busy.post("/batches", {"on": str(ago(-1)), "style": "Espresso"})
    planned = busy.get("/cover/forward?by=component")
    one = only(planned, "Base")

    # By hand: 1,400 of 1,500 bags are packed, 5 of 200 kg roasted: 195 kg / 0.85 of green.
    assert (plain["planned_kg"], plain["available_kg"]) == (kg("229.412"), 5520)
    # A planned batch of 12 kg draws its green and gives 10.2 kg of the same.
    assert (one["planned_kg"], planned["short_kg"]) == (kg("229.412"), 0)
    days = 28 + (5520 - Fraction("229.412")) / Fraction(3300, 56)
    assert abs(Fraction(one["days_of_cover"]) - days) < Fraction(1, 10**6)
    assert one["runs_out_on"] == str(ago(-118))
    for by in ("lot", "origin", "product"):
        (other,) = busy.get(f"/cover/forward?by={by}")["items"]
        assert other["planned_kg"] == (kg("235.295") if by == "product" else kg("229.412"))


def test_forward_cover_ends_within_the_plan_where_the_plan_is_large(busy: Api) -> None:
    busy.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-10)), "lines": [
        {"product": "HOUSE-2000", "bags": 5000},
    ]})  # fmt: skip

    found = busy.get("/cover/forward?by=lot&days=20")
    one = only(busy.get("/cover/forward?by=component&days=20"), "Base")

    # By hand: 3,600 bags are 7,200 kg, less 5 roasted: 8,464.706 kg of green, and 5,520 are there.
    assert one["planned_kg"] == kg("8464.706")
    assert one["days_of_cover"] == kg("9.65212")
    assert one["runs_out_on"] == str(ago(-10))
    assert one["runs_out_if_released_on"] == str(ago(-10))
    assert found["short_kg"] == kg("2944.706")


@pytest.fixture
def bought(busy: Api) -> Api:
    """Two contracts that took 60 and 70 days, and one that is on the sea."""
    contract = {"supplier": "Finca El Roble", "weight_basis": "landed", "origin": "ET",
                "component": "Base"}  # fmt: skip
    for n, (ordered, came) in enumerate([(100, 40), (80, 10)]):
        ref = f"PC-{n}"
        more = {"reference": ref, "quantity_kg": 100, "ordered_on": str(ago(ordered))}
        busy.post("/contracts", contract | more)
        arrive(busy, f"GL-C{n}", 100, on=ago(came), contract=ref)
    busy.post("/contracts", contract | {
        "reference": "PC-SEA", "quantity_kg": 600, "ordered_on": str(ago(20)),
        "expected_on": str(ago(-40)),
    })  # fmt: skip
    return busy


def test_of_a_contract_that_was_ended_nothing_is_on_order_any_more(bought: Api) -> None:
    def change(**said: object) -> None:
        tag = bought.send("GET", "/contracts/PC-SEA").headers["etag"]
        answer = bought.send("PATCH", "/contracts/PC-SEA", said, If_Match=tag)
        assert answer.status_code == 200, answer.text

    def on_order() -> object:
        return only(bought.get("/cover/orders"), "Base")["on_order_kg"]

    change(ended_on=str(ago(-1)))
    tomorrow = on_order()
    change(ended_on=str(ago(0)))
    ended = bought.get("/contracts/PC-SEA")
    today = on_order()
    change(ended_on=None)

    assert (tomorrow, today, on_order()) == (600, 0, 600)
    assert (ended["ended_on"], ended["standing"]) == (str(ago(0)), "under")


def test_what_to_order_follows_from_use_and_lead_times_as_they_were(bought: Api) -> None:
    found = bought.get("/cover/orders")
    one = only(found, "Base")

    # By hand, with the standard library's own statistics: 3,300 kg on one of 56 days.
    daily = 3300 / 56
    varies = variance([3300, *[0] * 55])
    safety = 1.6449 * sqrt(65 * varies + daily**2 * variance([60, 70]))
    assert one["lead_time"] == {
        "days": 65, "sd_days": kg("7.071068"), "basis": "measured", "deliveries": 2,
    }  # fmt: skip
    assert (one["service_pct"], one["z"]) == (95, kg("1.6449"))
    assert float(one["safety_stock_kg"]) == pytest.approx(safety, abs=0.01)
    assert float(one["reorder_point_kg"]) == pytest.approx(65 * daily + safety, abs=0.01)
    assert (one["position_kg"], one["on_order_kg"], one["held_kg"]) == (6120, 600, 1380)
    assert (one["due"], one["order_by"]) == (True, str(ago(0)))
    assert one["order_by_if_released"] == str(ago(0))
    up_to = 93 * daily + 1.6449 * sqrt(93 * varies + daily**2 * 50)
    assert float(one["exact_kg"]) == pytest.approx(up_to - 6120, abs=0.01)
    # Whole sacks of 60 kg, upward.
    assert one["suggested_kg"] == 60 * one["units"]
    assert 0 <= one["suggested_kg"] - one["exact_kg"] < 60
    assert "measured" in one["why"]
    assert "not the share of demand" in found["service"]
    ethiopia = only(bought.get("/cover/orders?by=origin"), "ET")
    assert (ethiopia["lead_time"]["days"], ethiopia["available_kg"]) == (65, 5720)


def test_a_planning_card_says_how_something_is_bought(
    bought: Api, api_as: Callable[..., Api]
) -> None:
    buyer = api_as("buyer")
    card = buyer.post("/planning-cards", {
        "item": "component: base", "service_pct": 98, "lead_time_days": 10,
        "lead_time_sd_days": 0, "order_unit": "pallet", "harvest_bound": True,
    })  # fmt: skip
    buyer.post("/planning-cards", {"item": "origin:et", "order_unit": "container"})
    one = only(bought.get("/cover/orders"), "Base")

    assert (card["item"], card["unit_kg"], card["version"]) == ("component:base", None, 1)
    assert (one["lead_time"]["basis"], one["lead_time"]["days"], one["z"]) == (
        "card", 10, kg("2.0537"),
    )  # fmt: skip
    assert (one["method"], one["unit"], one["unit_kg"]) == ("harvest", "pallet", 600)
    assert one["suggested_kg"] == one["units"] * 600 > 300 * Decimal(3300) / 56
    assert only(bought.get("/cover/orders?by=origin"), "ET")["unit_kg"] == 19_200
    at_card = "/planning-cards/component:BASE"
    changed = buyer.send("PATCH", at_card, {"unit_kg": 700}, If_Match='"1"')
    assert changed.status_code == 200
    problem(buyer.send("PATCH", at_card, {"unit_kg": 1}, If_Match='"1"'), 412,
            "precondition-failed")  # fmt: skip
    assert only(bought.get("/cover/orders"), "Base")["unit_kg"] == 700
    assert buyer.get(at_card)["harvest_bound"] is True
    buyer.refuse("/planning-cards", {"item": "component:Base"}, 409, "name-taken")
    problem(api_as("roaster").send("POST", "/planning-cards", {"item": "origin:KE"}), 403,
            "forbidden")  # fmt: skip
    for wrong in ({"item": "lot:GL-1"}, {"item": "origin:KE", "service_pct": 100},
                  {"item": "origin:KE", "service_pct": 49},
                  {"item": "origin:KE", "lead_time_sd_days": kg("0.0001")}):  # fmt: skip
        buyer.refuse("/planning-cards", wrong, 422, "invalid")


def test_projected_stock_goes_down_by_the_plan_and_up_by_what_arrives(bought: Api) -> None:
    found = bought.get("/cover/projection?key=base&days=60")
    days = {each["on"]: each for each in found["days"]}

    assert (found["key"], len(days)) == ("Base", 60)
    assert found["arrivals"] == [{
        "contract": "PC-SEA", "supplier": "Finca El Roble", "open_kg": 600,
        "on": str(ago(-40)), "earliest_on": str(ago(-28)), "latest_on": str(ago(-52)),
    }]  # fmt: skip
    # By hand: no order for 28 days, then 58.929 kg a day.
    assert days[str(ago(-28))]["expected_kg"] == 5520
    assert days[str(ago(-40))]["arriving_kg"] == 600
    assert days[str(ago(-40))]["expected_kg"] == kg("5412.857")
    for each in found["days"]:
        assert 0 <= each["low_kg"] <= each["expected_kg"] <= each["high_kg"]
        assert each["short_kg"] == 0
    assert found["runs_out_on"] is None
    far = bought.get("/cover/projection?key=Base&days=366")
    assert far["runs_out_on"] == next(day["on"] for day in far["days"] if day["short_kg"])
    assert far["days"][-1]["expected_kg"] == 0
    problem(bought.send("GET", "/cover/projection?key=Nothing"), 404, "not-found")


def test_what_if_says_what_would_be_and_writes_nothing(
    bought: Api, book_is_sound: Callable[[], None]
) -> None:
    entries = bought.get("/entries?limit=500")["items"]
    asked = {"joins": [{"product": "house-2000", "bags_a_week": 119}], "window_days": 56}

    joined = bought.post("/cover/what-if", asked)
    (one,) = joined["items"]
    (origin,) = bought.post("/cover/what-if", asked | {"by": "origin"})["items"]
    failed = bought.post("/cover/what-if", {"fails": ["GL-1"], "by": "component"})

    # By hand: 238 kg a week are 34 a day, 40 kg of green; 5,520 kg at 58.929 and at 98.929.
    assert one["before"] == {
        "component": None, "available_kg": 5520, "daily_use_kg": kg("58.928571"),
        "days_of_cover": kg("93.672727"), "runs_out_on": str(ago(-94)),
    }  # fmt: skip
    assert one["after"]["daily_use_kg"] == kg("98.928571")
    assert one["after"]["days_of_cover"] == kg("55.797834")
    assert (origin["key"], origin["after"]["daily_use_kg"]) == ("ET", kg("98.928571"))
    assert [(each["key"], each["after"]["available_kg"], each["after"]["runs_out_on"])
            for each in failed["items"]] == [("Base", 0, str(ago(0)))]  # fmt: skip
    assert bought.get("/entries?limit=500")["items"] == entries
    bought.refuse("/cover/what-if", {"fails": ["GL-NONE"]}, 404, "unknown-code")
    wrong = bought.refuse(
        "/cover/what-if", {"joins": [{"product": "NONE", "bags_a_week": 1}]}, 422,
        "unknown-reference",
    )  # fmt: skip
    assert wrong["errors"][0]["pointer"] == "#/joins/0/product"
    gap = bought.post("/cover/what-if", {"joins": [{"product": "HOUSE-250", "bags_a_week": 1}]})
    assert (gap["items"], gap["gaps"][0]["of"]) == ([], "HOUSE-250")
    book_is_sound()


def test_looking_ahead_takes_the_same_number_of_statements_however_much_there_is(
    bought: Api, statements: Callable[[], int]
) -> None:
    def counted(path: str) -> int:
        start = statements()
        bought.get(path)
        return statements() - start

    paths = ["/cover?by=product", "/cover/forward?by=component", "/cover/forward?by=product",
             "/cover/orders", "/cover/projection?key=Base"]  # fmt: skip
    few = [counted(path) for path in paths]
    for n in range(5):
        (sack,) = arrive(bought, f"GL-N{n}", 60, on=ago(20), origin="KE")
        bought.post("/styles", {"name": f"S{n}", "green": [
            {"share_pct": 100, "lots": [f"GL-N{n}"]},
        ]})  # fmt: skip
        draw(bought, sack, kg("10"), ago(3), style=f"S{n}", loss_range_pct=None)
        bought.post("/orders", {"customer": "Café Nord", "due_on": str(ago(-n)), "lines": [
            {"product": "HOUSE-2000", "bags": 400},
        ]})  # fmt: skip

    assert [counted(path) for path in paths] == few
    assert max(few) <= 25
