"""Every page is opened in a book in which none is empty: asks little, and in one language."""

from collections.abc import Callable
from datetime import timedelta
from typing import Final

from sqlalchemy import Engine

from app.settings import Settings
from app.shared.times import now
from seed import play
from tests.api import Api
from tests.web.conftest import Visitor
from tests.web.every_page import PAGES, book_the_rest, opened_with, page_routes
from tests.web.left_in_english import left_in_english, values_of

MOST: Final = 12
"""So many statements a page takes, the one that finds out who asks among them."""

MORE: Final = {
    # Papers, count, weight, inspection, moisture, sample and what was wrong: each its own table.
    "/arrivals/{code}": 14,
    # What was frozen, today's scope with what may have been touched, and all that was written.
    "/recalls/{code}": 15,
    "/recalls/{code}/do/{act}": 15,
    # While its clock runs: a scope each way, and what the records behind both lack.
    "/drills/{code}": 16,
    "/drills/{code}/complete": 16,
}
"""Pages that take more, and why."""


def test_no_page_is_left_out_of_the_walk() -> None:
    assert page_routes() == PAGES.keys()


def test_no_page_takes_more_than_a_few_statements_or_shows_a_word_of_the_code(
    api: Api,
    engine: Engine,
    settings: Settings,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
) -> None:
    played = play(engine, settings, last_day=(now() - timedelta(days=1)).date(), days=5)
    codes = book_the_rest(api, played)
    ada = visitor_as("admin")
    values = values_of(ada.get("/api/openapi.json").json())

    english: dict[str, list[str]] = {}
    counted: dict[str, dict[str, int]] = {}
    for route, address in opened_with(codes):
        statements()
        answer = ada.get(address, accept_language="de")
        assert answer.status_code == 200 or route == "/sign-in", (address, answer.text)
        counted.setdefault(route, {})[address] = statements()
        if answer.headers.get("content-type", "").startswith("text/html"):
            english[address] = left_in_english(answer.text, values, "de")

    most = {route: max(by_address.values()) for route, by_address in counted.items()}
    assert {
        address: number
        for route, by_address in counted.items()
        for address, number in by_address.items()
        if number > MORE.get(route, MOST)
    } == {}
    assert [route for route in MORE if most[route] <= MOST] == []
    assert {address: said for address, said in english.items() if said} == {}
