"""Pages of the office in a real browser: journal, balances, people, settings, health."""

from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI

from app.copies.making import back_up
from app.settings import Settings
from tests.api import Api
from tests.cli.sheets import SOUND, write_sheet
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def backed_up(service: FastAPI, settings: Settings, tmp_path: Path) -> None:
    """A folder for backups with one in it."""
    service.state.settings = settings.model_copy(update={"backup_folder": tmp_path})
    file = tmp_path / "jutebook-20260331T020000Z.backup"
    back_up(service.state.engine, file, "cron at the command line")


@pytest.mark.usefixtures("backed_up")
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
        "cards-places": "/cards/places",
        "cards-product": "/cards/products/HOUSE-250",
        "cards-instrument-new": "/cards/instruments/new",
        "opening-stock": "/opening-stock",
        "settings": "/settings",
        "health": "/health",
        "backups": "/backups",
    }.items():
        browser.examine(name, path)


def test_a_chosen_stock_file_is_looked_at_and_booked(
    browser: Browser, api: Api, add_person: Callable[..., str], tmp_path: Path
) -> None:
    furnish(api)
    rows = [SOUND, SOUND | {"lot": "OPEN-2"}, SOUND | {"lot": "OPEN-3", "sacks": "many"}]
    file = write_sheet(tmp_path / "stock.csv", rows)
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    browser.wait_for("What needs doing")

    browser.open("/opening-stock")
    browser.driver.find_element("id", "chosen").send_keys(str(file))
    browser.wait_until(lambda: "OPEN-3" in browser.value("file"), "the file is not in the field")
    browser.press("Look at it first")
    browser.wait_for("Refused rows")
    for width in ("phone", "desk"):
        browser.look(width)
        browser.shoot(f"opening-stock-looked-at-{width}")
        assert browser.findings() == []
        assert browser.small_targets() == []
        assert not browser.spills()
    browser.field("skip_refused").click()
    browser.press("Book the accepted rows")
    browser.wait_for("2 lots are in the book")

    assert [lot["code"] for lot in api.get("/lots")["items"]] == ["OPEN-1", "OPEN-2"]
    assert browser.complaints() == []
