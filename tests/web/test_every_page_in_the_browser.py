"""Every page, filled, in Chromium: at a phone in the light and at a desk in the dark.

Each room's own tests look at theirs in all four ways; here none is left out.
"""

from collections.abc import Callable
from datetime import timedelta
from typing import Final

import pytest
from sqlalchemy import Engine

from app.settings import Settings
from app.shared.times import now
from seed import play
from tests.api import Api
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD
from tests.web.every_page import book_the_rest, opened_with

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

_LOOKS: Final = (("phone", False), ("desk", True))
"""The widths, and whether it is dark."""


def test_no_page_keeps_anybody_out(
    api: Api,
    engine: Engine,
    settings: Settings,
    browser: Browser,
    add_person: Callable[..., str],
) -> None:
    played = play(engine, settings, last_day=(now() - timedelta(days=1)).date(), days=5)
    codes = book_the_rest(api, played)
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)

    flaws: dict[str, list[str]] = {}
    for _, address in opened_with(codes):
        browser.open(address)
        if browser.run("return document.contentType") != "text/html":
            browser.complaints()  # of the page that the browser itself makes around a photo
            continue
        for width, dark in _LOOKS:
            browser.look(width, dark=dark)
            if found := browser.flaws():
                flaws[f"{address} ({width})"] = found
        if complaints := browser.complaints():
            flaws[address] = complaints

    assert flaws == {}
