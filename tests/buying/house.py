"""A roastery that buys: two components in use, one that is not, coffee afloat and on hold."""

from typing import Any

from tests.api import Api
from tests.cover.conftest import ago, arrive, draw
from tests.makers import furnish


def buy_and_roast(api: Api) -> None:
    """Fill a book of some weeks, as it is today.

    Base: 20 sacks of 60 kg, 60 kg roasted on each of 10 days, so that 600 kg are there and 10.714
    kg a day were used over 56 days. Bright: four of six sacks roasted in the last four weeks, and
    a second lot on hold. Filter: never used.
    """
    furnish(api)
    api.post("/machines", {"code": "DRUM", "kind": "roaster"})
    base = arrive(api, "GL-BASE", *[60] * 20, on=ago(100), origin="BR",
                  harvest_ended_on=str(ago(320)))  # fmt: skip
    bright = arrive(api, "GL-BRIGHT", *[60] * 6, on=ago(60), harvest_ended_on=str(ago(150)))
    arrive(api, "GL-HELD", *[60] * 5, on=ago(9), harvest_ended_on=str(ago(90)))
    arrive(api, "GL-FILTER", *[60] * 3, on=ago(420), origin="KE", harvest_ended_on=str(ago(800)))
    arrive(api, "GL-ODD", 60, on=ago(40), origin="CO")
    api.post("/holds", {"units": ["GL-HELD"], "reason": "musty, waits for the laboratory"})
    for style, component, lots in (
        ("Espresso", "Base", ["GL-BASE", "GL-ODD"]), ("Light", "Bright", ["GL-BRIGHT", "GL-HELD"]),
        ("Filter", "Filter", ["GL-FILTER"]),
    ):  # fmt: skip
        slots = [{"share_pct": 100, "lots": lots, "component": component}]
        api.post("/styles", {"name": style, "batch_kg": 12, "machine": "DRUM-15", "green": slots})
    more: dict[str, Any] = {"loss_range_pct": None}
    for number in range(10):
        draw(api, base[number], 60, ago(52 - 5 * number), style="Espresso", **more)
    for number in range(4):
        draw(api, bright[number], 60, ago(24 - 6 * number), style="Light", **more)
    for sku, style in (("HOUSE-2000", "Espresso"), ("HOUSE-250", "Light")):
        api.send("PATCH", f"/products/{sku}", {"style": style}, If_Match="*")
    contract = {"supplier": "Finca El Roble", "weight_basis": "landed"}
    afloat = {"reference": "PC-SEA", "quantity_kg": 600, "origin": "BR", "component": "Base",
              "ordered_on": str(ago(40)), "expected_on": str(ago(-30)), "price": 4.2,
              "currency": "USD", "price_unit": "kg"}  # fmt: skip
    api.post("/contracts", contract | afloat)
    forward = {"reference": "PC-FWD", "quantity_kg": 300, "origin": "ET", "component": "Bright"}
    api.post("/contracts", contract | forward)
    api.post("/planning-cards", {
        "item": "component:Bright", "lead_time_days": 40, "lead_time_sd_days": 5,
        "order_unit": "sack",
    })  # fmt: skip
