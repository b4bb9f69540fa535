"""The pages of buyers in a real browser: fit for everybody, and worked with the keyboard alone."""

from collections.abc import Callable

import pytest
from selenium.webdriver.common.keys import Keys

from tests.api import Api
from tests.buying.house import buy_and_roast
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

PAGES = {
    "cover": "/cover",
    "projection": "/cover/projection?key=Base",
    "order-list": "/cover/orders",
    "contracts": "/contracts",
    "contract": "/contracts/change?reference=PC-SEA",
    "planning": "/planning",
    "planning-card": "/planning/card?item=component:Bright",
    "green": "/green",
    "green-lot": "/green/GL-BASE",
}


def test_the_pages_of_buyers_are_fit_for_everybody_and_lead_from_what_is_due_to_a_contract(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    buy_and_roast(api)
    api.post("/costs", {"lot": "GL-BASE", "kind": "purchase", "amount": 6000, "currency": "EUR"})
    browser.sign_in(add_person("Bea", "buyer"), PASSWORD)
    for name, path in PAGES.items():
        browser.examine(name, path)

    browser.look("desk")
    browser.open("/cover/projection?key=Base")
    browser.type("joins.0.product", "HOUSE-2000")
    browser.type("joins.0.bags_a_week", f"35{Keys.ENTER}")
    browser.wait_for("Nothing was booked.")
    browser.shoot("what-if-desk")
    assert browser.findings() == []
    browser.open("/")
    browser.press_in("main", "components to be ordered")
    browser.wait_for("Order now: Base")
    browser.press_in("main", "Enter the contract")
    browser.type("reference", "PC-27-114")
    (base,) = [each for each in api.get("/cover/orders")["items"] if each["key"] == "Base"]
    assert browser.value("quantity_kg") == f"{base['suggested_kg']:.0f}"
    assert browser.value("component") == "Base"
    browser.type("price", "4.35")
    browser.type("currency", "USD")
    browser.type("price_unit", "kg")
    browser.press("Enter it")
    browser.wait_for("PC-27-114 is entered:")

    (made,) = [each for each in api.get("/contracts")["items"] if each["reference"] == "PC-27-114"]
    assert (made["supplier"], made["component"], made["quantity_kg"]) == (
        "Finca El Roble", "Base", base["suggested_kg"],
    )  # fmt: skip
    assert browser.complaints() == []
