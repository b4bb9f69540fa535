"""The senders' pages in a real browser: bags, a case and a pallet scanned onto the cart."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from app.shared.times import now
from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def packs(api: Api) -> list[str]:
    """Packs of HOUSE-250, the last on hold, and orders that want more than there is."""
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    today = now().date()
    codes = [
        pack(api, {made: weight}, bags, best_before=str(today + timedelta(days=days)))["code"]
        for weight, bags, days in ((5, 20, 100), (10, 40, 200), (10, 40, 300))
    ]
    api.post("/holds", {"units": [codes[2]], "reason": "seal looks weak"})
    for code, bags, days in (("O-1", 24, -1), ("O-2", 90, 3)):
        api.post("/orders", {"code": code, "customer": "Café Nord",
                             "due_on": str(today + timedelta(days=days)),
                             "lines": [{"product": "HOUSE-250", "bags": bags}]})  # fmt: skip
    api.post("/customers", {"name": "Our counter", "kind": "consumers"})
    api.post("/crate-kinds", {"name": "Blue crate"})
    api.post("/crates/counts", {"kind": "Blue crate", "counted": 20, "reason": "all of them"})
    return codes


def test_the_pages_of_the_senders_are_fit_for_everybody(
    browser: Browser, api: Api, packs: list[str], add_person: Callable[..., str]
) -> None:
    case = api.post("/cases", {"contents": [{"pack": packs[1], "bags": 4}]})["code"]
    lines = [{"pack": packs[0], "bags": 3}, {"case": case}]
    crates = [{"kind": "Blue crate", "count": 1}]
    sent = api.post("/dispatches", {"customer": "Café Nord", "lines": lines, "crates": crates})
    today = str(now().date())
    sold = [{"pack": packs[0], "bags": 2}]
    api.post("/sales", {"shop": "Our counter", "sold_on": today, "lines": sold})
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)

    browser.examine("orders-to-send", "/sending")
    browser.examine("send", "/send?order=O-2")
    browser.examine("sent", f"/sent/{sent['code']}")
    browser.examine("returns", f"/returns?dispatch={sent['code']}")
    browser.examine("returns-which", "/returns")
    browser.examine("sales", "/sales")
    browser.examine("crates", "/crates")


def test_an_order_is_scanned_onto_the_cart_bag_by_bag_with_a_case(
    browser: Browser, api: Api, packs: list[str], add_person: Callable[..., str]
) -> None:
    case = api.post("/cases", {"contents": [{"pack": packs[1], "bags": 4}]})["code"]
    other = dispatch(api, {packs[0]: 1})["code"]
    browser.sign_in(add_person("Sam", "warehouse"), PASSWORD)
    browser.open("/sending")
    browser.press_in(".first", "Pick and send")
    browser.wait_for("Fetch these, the oldest date first")
    assert (browser.value("lines.0.pack"), browser.value("lines.0.bags")) == (packs[0], "19")
    assert (browser.value("lines.1.pack"), browser.value("lines.1.bags")) == (packs[1], "5")
    browser.replace("lines.1.bags", "1")
    browser.run("document.getElementById('f-load').focus()")
    browser.scan(f"L {packs[0]}".lower())
    browser.wait_for(f"{packs[0]} · 1 of 19 scanned")
    browser.scan(packs[0])
    browser.wait_for(f"{packs[0]} · 2 of 19 scanned")
    browser.scan(other)
    browser.wait_for(f"That is dispatch {other}. Wanted: pack or return or case.")
    browser.scan(case)
    browser.wait_for(case, ".heard.yes")
    browser.shoot("send-scanned")
    browser.scan(packs[1])
    browser.wait_for(f"{packs[1]} · 1 of 1 scanned", ".heard.yes")
    browser.scan(packs[1])
    browser.wait_for(f"{packs[1]} · 2 of 1 scanned", ".heard.no")
    browser.replace("lines.1.bags", "1")
    assert browser.value("lines.2.pack") == case
    browser.press("Look at it first")
    browser.wait_for("Not booked yet: this would leave")
    browser.press("Book the dispatch")
    browser.wait_for("booked: 6")
    (_first, made) = api.get("/dispatches")["items"]
    shown = api.get(f"/dispatches/{made['code']}")
    assert (shown["order"], shown["cases"]) == ("O-1", [case])
    assert [line["bags"] for line in shown["lines"]] == [19, 5]
    assert api.get("/orders/O-1")["state"] == "sent"
    assert browser.complaints() == []
