"""Days of long ago at the pages: a slip is told in words, and what is in the book is shown."""

from collections.abc import Callable
from datetime import date

import pytest

from app.settings import Settings
from tests.api import Api
from tests.makers import furnish
from tests.web.conftest import Visitor, words


@pytest.fixture
def settings(database_url: str) -> Settings:
    """A house west of UTC: there the first day of the calendar would begin the day before it."""
    return Settings(
        database_url=database_url, hold_on_arrival=False, time_zone="America/New_York",
        _env_file=None,
    )  # fmt: skip


def test_a_lot_that_came_on_the_first_day_there_is_is_still_shown(
    api: Api, visitor_as: Callable[..., Visitor], monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(api)
    lot = {"code": "GL-1", "name": "Old", "origin": "ET", "sacks": [{"net_kg": 60}]}
    body = {"supplier": "Finca El Roble", "received_at": "0001-01-01T00:00:00Z", "lots": [lot]}
    with monkeypatch.context() as before:
        before.setattr("app.shared.times.FIRST_DAY", date.min)
        made = api.post("/deliveries", body)
    ada = visitor_as("admin")

    for page in ("/u/GL-1", "/journal", "/coffees", "/arrivals/GL-1", "/trace/GL-1", "/age"):
        shown = ada.get(page)
        assert shown.status_code < 500, (page, shown.text)
    assert "GL-1" in words(ada.get("/u/GL-1"))
    for path in (f"/deliveries/{made['code']}", "/lots/GL-1", "/trace/GL-1?direction=forward"):
        assert api.send("GET", path).status_code == 200, path


def test_a_page_says_which_days_are_taken(visitor_as: Callable[..., Visitor]) -> None:
    ada = visitor_as("admin")

    told = ada.get("/journal?on=0001-01-01")
    german = ada.get("/journal?on=0001-01-01", accept_language="de")

    assert "Jan 1 lies outside of 1 Jan 1900 to 31 Dec 8999." in words(told)
    assert "liegt nicht zwischen 01.01.1900 und 31.12.8999." in words(german)
    for page in ("/roasting/needs?to=0001-01-01", "/roasting/needs?to=9999-12-31"):
        assert ada.get(page).status_code < 500, page
