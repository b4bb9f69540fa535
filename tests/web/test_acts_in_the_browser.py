"""Pages of what is done beside the coffee's way, in a real browser: fit for everybody."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from app.shared.times import now
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def _keep_materials_and_crates(api: Api) -> None:
    api.post("/materials", {"code": "FILM", "name": "Film", "kind": "film", "unit": "metre"})
    came = {"material": "FILM", "code": "ROLL-1", "quantity": 500, "supplier": "Kappa Print",
            "reference": "DN 7"}  # fmt: skip
    api.post("/material-lots", came)
    api.post("/material-lots/ROLL-1/changes", {"counted": 480, "reason": "end of the month"})
    api.post("/material-lots/ROLL-1/changes", {"written_off": 12, "reason": "wet"})
    api.post("/material-lots/ROLL-1/holds", {"reason": "prints off centre"})
    api.post("/crate-kinds", {"name": "Blue crate"})
    api.post("/crates/counts", {"kind": "Blue crate", "counted": 20, "reason": "all of them"})
    api.post("/machines/DRUM-75/clean-downs", {"note": "brushed, blown out"})
    api.post("/locations/B-02/clean-downs", {})


def _plan_and_order(api: Api) -> None:
    """Plan batches, take orders of which one is sent in part, and keep a standing one."""
    today = now().date()
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    made = roast(api, {sacks[0]: 60}, 50)["code"]
    bags = {"pack": pack(api, {made: 10}, 40)["code"], "bags": 20}
    api.post("/styles", {"name": "House", "machine": "DRUM-15", "batch_kg": 12,
                         "green": [{"lots": ["GL-7"], "share_pct": 100}]})  # fmt: skip
    tomorrow = str(today + timedelta(days=1))
    api.post("/batches", {"style": "House", "on": tomorrow, "count": 3})
    wanted = [{"product": "HOUSE-250", "bags": 30}, {"product": "HOUSE-2000", "bags": 2}]
    order = {"customer": "Café Nord", "lines": wanted}
    api.post("/orders", {"code": "O-1", "due_on": tomorrow, "reference": "PO 8", **order})
    api.post("/dispatches", {"customer": "Café Nord", "order": "O-1", "lines": [bags]})
    api.post("/orders", {"code": "O-2", "due_on": tomorrow, **order})
    days = {"weekdays": ["monday", "thursday"], "starts_on": str(today), "every_weeks": 2}
    api.post("/standing-orders", {"code": "SO-1", **order, **days})


def test_the_pages_beside_the_way_of_the_coffee_are_fit_for_everybody(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    furnish(api)
    _keep_materials_and_crates(api)
    _plan_and_order(api)
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    for name, path in {
        "clean": "/clean",
        "crates-moved": "/crates",
        "crates-count": "/crates/count",
        "material-lot": "/material/ROLL-1",
        "material-count": "/material/ROLL-1/count",
        "material-release": "/material-holds/1/release",
        "holds-of-material": "/holds",
        "adjust": f"/adjust?what={sack_codes(receive(api, 60))[0]}",
        "batches": "/batches",
        "cancel": "/cancel/batch/1",
        "orders": "/orders",
        "order": "/orders/O-1",
        "order-new": "/orders/new",
        "standing-orders": "/standing-orders",
        "standing-order": "/standing-orders/SO-1",
        "standing-order-new": "/standing-orders/new",
    }.items():
        browser.examine(name, path)


def test_a_spill_is_booked_with_a_scanner_and_a_keyboard(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    browser.sign_in(add_person("Noor", "warehouse"), PASSWORD)
    browser.open("/adjust")
    browser.wait_until_focused("f-what")
    browser.scan("A-01 ")
    browser.wait_for("place", ".heard")
    browser.replace("what", "")
    browser.scan(sack.lower())
    browser.wait_for("sack", ".heard")
    browser.run("document.querySelector('[name=_way]').click()")
    browser.type("kg", "0.4")
    browser.run("document.querySelector('[name=reason]').value = 'spill'")
    browser.press("Book it")
    browser.wait_for("now holds 59.6")

    assert str(api.get(f"/sacks/{sack}")["on_hand_kg"]) == "59.6"
    assert browser.complaints() == []
