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

MOST: Final = 15
"""So many statements a page takes, the one that finds out who asks among them."""

MORE: Final = {
    # One question a line for whoever may do everything; no single role sees half of the lines.
    "/": 25,
    # Cards of six sorts, stock, use, contracts, orders and what is packed and roasted already.
    "/planning": 17,
    "/cover/orders": 17,
    # Five sorts of papers and what was paid, each with tables of its own.
    "/green/{code}": 16,
    # Two walks, what is known of what they reached, contact on machines and in places, the picture.
    "/trace": 26,
    # What was frozen, today's scope beside it with what may have been touched, the account of it.
    "/recalls/{code}": 31,
    "/recalls/{code}/do/{act}": 31,
    # The book as it was: figures and places of that time are worked out anew.
    "/recalls/{code}/picture": 18,
    # While its clock runs: a scope each way, and what the records behind both lack.
    "/drills/{code}": 40,
    "/drills/{code}/complete": 40,
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
