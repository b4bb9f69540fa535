"""Pages in a real browser: scanning, both widths, light and dark, and nobody kept out."""

from collections.abc import Callable

import pytest

from tests.api import Api
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

PAGES = {
    "start": "/",
    "account": "/account",
    "move": "/move",
    "moisture": "/moisture",
    "unit": "/u/{sack}",
    "place": "/places/B-02",
    "found": "/find?text=NO-SUCH",
    "lost": "/no-such-page",
}
"""Every page, by the name of its pictures; `{sack}` is a sack of the lot GL-7, on hold."""


@pytest.fixture
def codes(api: Api) -> list[str]:
    """The sacks of a lot in a small roastery where something waits for everybody."""
    furnish(api)
    lot = receive(api, *[60] * 12, lot="GL-7")
    sacks = sack_codes(lot)
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    roast(api, {sacks[0]: 30}, 25, profile_hit=False)
    api.post("/holds", {"units": [sacks[1]], "reason": "smells musty"})
    return sacks


def test_every_page_is_fit_for_everybody_at_both_widths_in_light_and_dark(
    browser: Browser, codes: list[str], add_person: Callable[..., str]
) -> None:
    add_person("Ada", "admin")
    browser.open("/sign-in")
    assert browser.findings() == []
    browser.shoot("sign-in")
    browser.sign_in("Ada", PASSWORD)
    for name, path in PAGES.items():
        browser.examine(name, path.format(sack=codes[1]))


def test_sacks_are_moved_with_a_scanner_alone(
    browser: Browser, api: Api, codes: list[str], add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Noor", "warehouse"), PASSWORD)
    browser.open("/move")

    browser.scan("a-01")
    browser.wait_for("place", ".heard")
    assert browser.focused() == "f-sacks-scan"
    browser.scan("B-02")
    browser.wait_for("That is place B-02. Wanted: sack.")
    assert "threw" in browser.driver.page_source
    browser.scan(codes[2].lower())
    browser.wait_for("1 scanned")
    browser.scan(codes[3])
    browser.wait_for("2 scanned")
    browser.scan(codes[3])
    browser.wait_for("2 scanned")
    browser.shoot("move-scanned")
    browser.press("Book the move")
    browser.wait_for("2 sacks now stand at A-01.")

    assert {api.get(f"/sacks/{code}")["location"] for code in codes[2:4]} == {"A-01"}
    assert api.get(f"/sacks/{codes[4]}")["location"] == "B-02"
    assert browser.complaints() == []
