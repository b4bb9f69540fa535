"""Pages ask the database little: every page is opened in a book in which none is empty."""

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
    # While its clock runs: a scope each way, and what the records behind both lack.
    "/drills/{code}": 16,
    "/drills/{code}/complete": 16,
}
"""Pages that take more, and why."""


def test_no_page_is_left_out_of_the_walk() -> None:
    assert page_routes() == PAGES.keys()


def test_no_page_takes_more_than_a_few_statements(
    api: Api,
    engine: Engine,
    settings: Settings,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
) -> None:
    played = play(engine, settings, last_day=(now() - timedelta(days=1)).date(), days=5)
    codes = book_the_rest(api, played)
    ada = visitor_as("admin")

    counted: dict[str, dict[str, int]] = {}
    for route, address in opened_with(codes):
        statements()
        answer = ada.get(address)
        assert answer.status_code == 200 or route == "/sign-in", (address, answer.text)
        counted.setdefault(route, {})[address] = statements()

    most = {route: max(by_address.values()) for route, by_address in counted.items()}
    assert {
        address: number
        for route, by_address in counted.items()
        for address, number in by_address.items()
        if number > MORE.get(route, MOST)
    } == {}
    assert [route for route in MORE if most[route] <= MOST] == []
