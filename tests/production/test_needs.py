"""What has to be roasted: from orders to batches and green, with nothing counted twice."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.makers import dispatch, pack, receive, roast, sack_codes

DAY = "2026-11-26"


def order(api: Api, bags: int, sku: str = "HOUSE-2000", due_on: str = DAY, **more: Any) -> None:
    body = {"customer": "Café Nord", "due_on": due_on, "lines": [{"product": sku, "bags": bags}]}
    api.post("/orders", body | more)


def needs(api: Api, first: str = DAY, last: str = DAY) -> Any:
    return api.get(f"/production/needs?from={first}&to={last}")


def style(found: Any, name: str = "Espresso") -> Any:
    (one,) = [each for each in found["styles"] if each["style"] == name]
    return one


def sack_of(api: Api, lot: str) -> str:
    code: str = api.get(f"/sacks?lot={lot}")["items"][0]["code"]
    return code


def test_an_order_becomes_whole_batches_and_green_by_lot(roastery: Api) -> None:
    order(roastery, 50)

    espresso = style(needs(roastery))

    # Arithmetic: 100 kg at 15 % in charges of 12 kg: 117.647 kg of green, 9.80 charges, so 10.
    assert (espresso["needed_kg"], espresso["to_roast_kg"]) == (100, 100)
    assert (espresso["loss_pct"], espresso["loss_basis"], espresso["loss_roasts"]) == (
        15, "target", 0,
    )  # fmt: skip
    assert espresso["green_needed_kg"] == kg("117.648")  # to the gram, upward
    assert (espresso["batches_exact"], espresso["batches"]) == (kg("9.80"), 10)
    assert (espresso["green_kg"], espresso["roasted_kg"]) == (120, 102)
    assert espresso["green"] == [{"lot": "GL-OLD", "kg": 90}, {"lot": "GL-NEW", "kg": 30}]
    assert (espresso["short_kg"], espresso["by_age"]) == (0, False)
    assert needs(roastery)["machines"] == [{"machine": "DRUM-15", "batches": 10, "green_kg": 120}]


def test_a_recipe_comes_apart_into_its_styles(roastery: Api) -> None:
    order(roastery, 40, "HOUSE-250")

    found = needs(roastery)

    assert found["products"] == [{
        "product": "HOUSE-250", "recipe": "Harbour", "style": None, "ordered_bags": 40,
        "late_bags": 0, "standing_bags": 0, "packed_bags": 0, "to_pack_bags": 40, "roasted_kg": 10,
    }]  # fmt: skip
    assert found["recipes"] == [{
        "recipe": "Harbour", "needed_kg": 10, "on_hand_kg": 0, "to_blend_kg": 10,
        "components": [{"name": "espresso", "kg": 8}, {"name": "Fruit", "kg": 2}],
    }]  # fmt: skip
    assert [(s["style"], s["to_roast_kg"]) for s in found["styles"]] == [
        ("Espresso", 8), ("Fruit", 2),
    ]  # fmt: skip
    # A drum of 15 kg, of which 80 % is the most that is usual (our own rule).
    assert style(found, "Fruit")["charge_kg"] == 12
    assert found["gaps"] == []


def test_what_is_packed_and_what_is_roasted_is_taken_off_once(
    roastery: Api, book_is_sound: Callable[[], None]
) -> None:
    order(roastery, 10)
    order(roastery, 40, "HOUSE-250")
    by_style: dict[str, Any] = {"loss_range_pct": None}
    made = roast(roastery, {sack_of(roastery, "GL-OLD"): 20}, 17, style="Espresso", **by_style)
    fruit_sack = sack_of(roastery, "GL-FRUIT")
    fruit = roast(roastery, {fruit_sack: 10}, kg("8.8"), style="Fruit", **by_style)
    pack(roastery, {made["code"]: 4}, 2, "HOUSE-2000")
    set_aside = roastery.post("/roasts", {
        "machine": "DRUM-15", "style": "Espresso", "end_kg": kg("8.5"),
        "draws": [{"sack": sack_of(roastery, "GL-OLD"), "kg": 10}],
    })  # fmt: skip

    before = needs(roastery)
    roastery.post("/holds", {"units": [fruit["code"]], "reason": "smells of smoke"})
    held = needs(roastery)

    # Our own arithmetic: 8 big bags are to pack, 16 kg, and 8 kg for the recipe; 13 kg are there.
    assert set_aside["disposition"] == "set_aside"
    assert [each["to_pack_bags"] for each in before["products"]] == [8, 40]
    espresso = style(before)
    assert (espresso["needed_kg"], espresso["on_hand_kg"], espresso["to_roast_kg"]) == (24, 13, 11)
    assert (espresso["loss_basis"], espresso["loss_roasts"]) == ("measured", 1)
    assert (style(before, "Fruit")["to_roast_kg"], style(held, "Fruit")["to_roast_kg"]) == (0, 2)
    book_is_sound()


def test_what_is_held_past_its_date_or_gone_is_not_free(roastery: Api) -> None:
    made = roast(roastery, {sack_of(roastery, "GL-OLD"): 40}, 34)
    in_time = {"packed_at": "2026-11-20T08:00:00Z"}
    pack(roastery, {made["code"]: 4}, 2, "HOUSE-2000", best_before="2026-11-25", **in_time)
    held = pack(roastery, {made["code"]: 4}, 2, "HOUSE-2000", **in_time)
    free = pack(roastery, {made["code"]: 8}, 4, "HOUSE-2000", best_before=DAY, **in_time)
    roastery.post("/holds", {"units": [held["code"]], "reason": "seam"})
    dispatch(roastery, {free["code"]: 1})
    order(roastery, 10)

    (product,) = needs(roastery)["products"]

    assert (product["packed_bags"], product["to_pack_bags"]) == (3, 7)


def test_late_orders_are_in_it_and_marked_and_others_are_not(roastery: Api) -> None:
    order(roastery, 3, due_on="2026-11-20", code="LATE")
    order(roastery, 5, code="TODAY")
    order(roastery, 7, due_on="2026-11-27", code="LATER")
    order(roastery, 9, code="NEVER")
    roastery.post("/orders/NEVER/cancel", {"reason": "closed"})

    today, both = needs(roastery), needs(roastery, DAY, "2026-11-27")

    assert [(each["order"], each["late"], each["bags"]) for each in today["orders"]] == [
        ("LATE", True, 3), ("TODAY", False, 5),
    ]  # fmt: skip
    assert (today["products"][0]["ordered_bags"], today["products"][0]["late_bags"]) == (8, 3)
    assert both["products"][0]["to_pack_bags"] == 15


def test_a_standing_order_counts_until_it_is_called_off_and_its_order_after(roastery: Api) -> None:
    roastery.post("/standing-orders", {
        "code": "WEEKLY", "customer": "Café Nord", "weekdays": ["thursday", "friday"],
        "starts_on": DAY, "lines": [{"product": "HOUSE-2000", "bags": 6}], "paused": ["2026-11-27"],
    })  # fmt: skip

    before = needs(roastery, DAY, "2026-11-27")
    roastery.post("/standing-orders/WEEKLY/orders", {"on": DAY, "code": "SO-1"})
    after = needs(roastery, DAY, "2026-11-27")

    assert before["standing_orders"] == [
        {"standing_order": "WEEKLY", "product": "HOUSE-2000", "on": DAY, "bags": 6}
    ]
    counts = [
        (each["ordered_bags"], each["standing_bags"], each["to_pack_bags"])
        for each in (before["products"] + after["products"])
    ]
    assert counts == [(0, 6, 6), (6, 0, 6)]
    assert after["standing_orders"] == []


def test_what_cannot_be_worked_out_is_named(roastery: Api) -> None:
    roastery.post("/products", {"sku": "GIFT", "name": "Gift box", "nominal_g": 500})
    roastery.post("/styles", {"name": "Bare"})
    roastery.post("/recipes", {
        "name": "Odd",
        "components": [{"name": "bare", "share_pct": 50}, {"name": "spice", "share_pct": 50}],
    })  # fmt: skip
    roastery.post("/products", {"sku": "ODD", "name": "Odd", "nominal_g": 500, "recipe": "Odd"})
    order(roastery, 1, "GIFT")
    order(roastery, 10, "ODD")

    found = needs(roastery)

    assert [(gap["of"], gap["why"].partition(":")[0]) for gap in found["gaps"]] == [
        ("GIFT", "a product that names neither recipe nor style"),
        ("spice", "component of odd, and neither style nor recipe"),
        ("Bare", "a style that names no green"),
        ("Bare", "a style without a charge and without a drum"),
    ]
    bare = style(found, "Bare")
    assert (bare["batches"], bare["charge_kg"], bare["by_age"]) == (None, None, True)
    # The middle of the roastery's range of 12 to 18 %; the oldest crop comes first.
    assert (bare["loss_pct"], bare["loss_basis"]) == (15, "house")
    assert bare["green"] == [{"lot": "GL-OLD", "kg": kg("2.942")}]


def test_green_that_does_not_suffice_is_said_plainly(roastery: Api) -> None:
    roastery.post("/holds", {"units": ["GL-OLD"], "reason": "musty"})
    order(roastery, 50)

    espresso = style(needs(roastery))

    assert espresso["green"] == [{"lot": "GL-NEW", "kg": 60}]
    assert (espresso["green_kg"], espresso["short_kg"]) == (120, 60)


def test_a_plan_makes_the_batches_and_a_second_plans_nothing_twice(roastery: Api) -> None:
    order(roastery, 50)
    order(roastery, 40, "HOUSE-250")

    planned = roastery.post("/production/plan", {"on": DAY})
    after = needs(roastery)
    again = roastery.post("/production/plan", {"on": DAY})

    # Our own arithmetic: 108 kg at 15 % are 10.6 charges of 12 kg; 2 kg of Fruit are one.
    assert [batch["style"] for batch in planned["batches"]] == ["Espresso"] * 11 + ["Fruit"]
    assert (planned["not_planned"], planned["gaps"]) == ([], [])
    assert planned["batches"][7]["green"] == [
        {"lot": "GL-OLD", "kg": 6}, {"lot": "GL-NEW", "kg": 6},
    ]  # fmt: skip
    assert (style(after)["planned_kg"], style(after)["to_roast_kg"]) == (kg("112.2"), 0)
    assert (style(after)["batches"], after["machines"], again["batches"]) == (0, [], [])
    assert roastery.get("/lots/GL-OLD")["available_kg"] == 0
    assert roastery.get("/lots/GL-NEW")["reserved_kg"] == 42


def test_a_plan_leaves_out_what_lacks_green_and_says_so(roastery: Api) -> None:
    roastery.post("/holds", {"units": ["GL-OLD"], "reason": "musty"})
    roastery.post("/styles", {"name": "Bare", "batch_kg": 10})
    roastery.post("/products", {"sku": "BARE", "name": "Bare", "nominal_g": 500, "style": "Bare"})
    order(roastery, 50)
    order(roastery, 10, "BARE")

    planned = roastery.post("/production/plan", {"on": DAY})
    again = roastery.post("/production/plan", {"on": DAY})

    assert len(planned["batches"]) == 5
    assert planned["not_planned"] == [
        {"style": "Espresso", "batches": 5, "why": "60.0 kg of green are short"},
        {"style": "Bare", "batches": 1, "why": "the style names no green"},
    ]
    assert (again["batches"], again["not_planned"]) == ([], planned["not_planned"])


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"on": "2026-11-27", "from": DAY, "to": DAY}, "#/on"),
        ({"on": DAY, "from": DAY, "to": "2026-11-25"}, None),
    ],
)
def test_a_plan_is_for_days_that_are_still_to_come_then(
    roastery: Api, body: dict[str, Any], said: str | None
) -> None:
    order(roastery, 5)

    refused = roastery.refuse("/production/plan", body, 422, "invalid")

    assert refused["errors"][0].get("pointer") == said
    assert roastery.get("/batches")["items"] == []


def test_a_roast_of_the_plan_turns_what_is_planned_into_what_is_there(roastery: Api) -> None:
    order(roastery, 5)
    (batch,) = roastery.post("/production/plan", {"on": DAY})["batches"]
    before = style(needs(roastery))

    roast(roastery, {sack_of(roastery, "GL-OLD"): 12}, kg("10.2"), batch=batch["id"],
          machine="DRUM-15", loss_range_pct=None)  # fmt: skip
    after = style(needs(roastery))

    assert (before["on_hand_kg"], before["planned_kg"]) == (0, kg("10.2"))
    assert (after["on_hand_kg"], after["planned_kg"], after["to_roast_kg"]) == (10, 0, 0)


def test_needs_take_the_same_number_of_statements_however_much_there_is(
    roastery: Api, statements: Callable[[], int]
) -> None:
    order(roastery, 5)
    start = statements()
    needs(roastery)
    few = statements() - start
    for n in range(12):
        order(roastery, n + 1, ["HOUSE-250", "HOUSE-2000"][n % 2])
        sack = sack_codes(receive(roastery, 20, lot=f"GL-{n}"))[0]
        roast(roastery, {sack: 10}, 8, style="Fruit", loss_range_pct=None)
    roastery.post("/production/plan", {"on": DAY})

    start = statements()
    needs(roastery)

    assert statements() - start == few <= 25


def test_a_period_that_runs_backward_is_refused(roastery: Api) -> None:
    answer = roastery.send("GET", f"/production/needs?from={DAY}&to=2026-11-25")

    problem(answer, 422, "invalid")


def test_the_loss_is_that_of_all_that_was_charged_of_late_and_may_be_packed(roastery: Api) -> None:
    order(roastery, 40)
    sack = sack_of(roastery, "GL-OLD")

    def roasted(days_ago: int, charge: int, end: Any, **more: Any) -> str:
        at = (datetime.now(UTC) - timedelta(days=days_ago, minutes=1)).isoformat()
        fields = {"style": "Espresso", "loss_range_pct": None, "roasted_at": at} | more
        return str(roast(roastery, {sack: charge}, end, **fields)["code"])

    roasted(56, 30, kg("25.5"))  # a minute too old by the default of 56 days, our own rule
    before = style(needs(roastery))
    roasted(55, 10, kg("8.5"))
    roasted(0, 20, kg("16.94"))
    roasted(0, 10, 5, profile_hit=False, end_confirmed=True)  # set aside
    voided = roasted(0, 10, kg("8.55"))
    roastery.post(f"/units/{voided}/void", {"reason": "wrong sack"})
    after = style(needs(roastery))

    # By hand: 30 kg charged, 25.44 came out: 15.2 %, and not the mean of 15 and 15.3 %.
    assert (before["loss_basis"], before["loss_pct"]) == ("target", 15)
    assert (after["loss_basis"], after["loss_roasts"]) == ("measured", 2)
    assert after["loss_pct"] == kg("15.2")
