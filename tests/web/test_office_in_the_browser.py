"""Pages of the office in a real browser: journal, balances, people, settings, health."""

from collections.abc import Callable

import pytest

from tests.api import Api
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def test_every_page_of_the_office_is_fit_for_everybody(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    roast(api, {sacks[0]: 30}, 25)
    api.post("/adjustments", {"unit": sacks[1], "kg": -2, "reason": "spill", "note": "torn"})
    add_person("Noor", "warehouse", "roaster")
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    browser.wait_for("What needs doing")

    for name, path in {
        "journal": "/journal",
        "journal-entry": "/journal/9",
        "journal-check": "/journal/check",
        "mass-balance": "/mass-balance?code=GL-7",
        "adjustments": "/adjustments",
        "adjustment-void": "/adjustments/1/void",
        "people": "/people",
        "person-roles": "/people/1/roles",
        "tokens": "/tokens",
        "token-new": "/tokens/new",
        "settings": "/settings",
        "health": "/health",
    }.items():
        browser.examine(name, path)
