"""What is refused of a form, said where it was typed and in the language it is in."""

import re
from collections.abc import Callable, Iterator
from typing import Any

from fastapi import FastAPI

from app.shared.times import now
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, filled_fields, hidden_fields


def _errors(page: str) -> dict[str, str]:
    """Read what is said against a field, by its name."""
    return dict(re.findall(r'<p class="error" id="f-([\w-]+)-error"[^>]*>([^<]*)</p>', page))


def test_a_refusal_stands_at_the_row_that_was_typed_into_with_a_blank_one_before_it(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    packed = pack(api, {made: 10}, 40)["code"]
    today = str(now().date())
    wanted = [{"product": "HOUSE-2000", "bags": 2}, {"product": "HOUSE-250", "bags": 30}]
    api.post("/orders", {"code": "O-1", "customer": "Café Nord", "due_on": today, "lines": wanted})
    sent = {"customer": "Café Nord", "order": "O-1", "lines": [{"pack": packed, "bags": 20}]}
    api.post("/dispatches", sent)
    sam = visitor_as("warehouse")
    rows = {"lines.0.product": "HOUSE-2000", "lines.0.bags": "2", "lines.1.product": "",
            "lines.1.bags": "", "lines.2.product": "HOUSE-250"}  # fmt: skip
    new = hidden_fields(sam.get("/orders/new").text) | {"customer": "Café Nord", "due_on": today}
    there = filled_fields(sam.get("/orders/O-1").text)

    none = sam.post("/orders/new", new | rows | {"lines.2.bags": ""})
    unknown = sam.post("/orders/new", new | rows | {"lines.2.product": "X-1", "lines.2.bags": "3"})
    little = sam.post("/orders/O-1", there | rows | {"lines.2.bags": "0"})
    few = sam.post("/orders/O-1", there | rows | {"lines.2.bags": "5"})

    assert _errors(none.text) == {"lines-2-bags": "This is needed."}
    assert list(_errors(unknown.text)) == ["lines-2-product"]
    assert _errors(little.text) == {"lines-2-bags": "At least 1 is wanted."}
    assert list(_errors(few.text)) == ["lines-2-bags"]
    assert "20 bags of HOUSE-250 went out already" in _errors(few.text)["lines-2-bags"]


def test_what_an_act_says_of_a_list_of_rows_is_marked_as_english_on_a_page_that_speaks_otherwise(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    packed = pack(api, {made: 10}, 40)["code"]
    today = str(now().date())
    wanted = [{"product": "HOUSE-250", "bags": 30}]
    api.post("/orders", {"code": "O-1", "customer": "Café Nord", "due_on": today, "lines": wanted})
    sent = {"customer": "Café Nord", "order": "O-1", "lines": [{"pack": packed, "bags": 20}]}
    api.post("/dispatches", sent)
    sam = visitor_as("warehouse")
    there = filled_fields(sam.get("/orders/O-1").text) | {"lines.0.product": "HOUSE-2000"}

    english = sam.post("/orders/O-1", there)
    german = sam.post("/orders/O-1", there | {"_key": "2"}, Accept_Language="de")

    said = "20 bags of HOUSE-250 went out already; 0 are wanted"
    assert f'<p class="error" role="alert">{said}</p>' in english.text
    assert f'<p class="error" role="alert" lang="en">{said}</p>' in german.text


def _pages_of_something(there: Any) -> Iterator[str]:
    """Name the pages of one thing of many, by what stands for it in their addresses."""
    for route in there.routes:
        path = getattr(route, "path", "")
        if hasattr(route, "routes"):
            yield from _pages_of_something(route)
        elif "GET" in (route.methods or ()) and "{" in path and not path.startswith("/api/"):
            yield path


def test_no_page_asks_anything_about_what_the_book_does_not_know(
    api: Api, visitor_as: Callable[..., Visitor], service: FastAPI
) -> None:
    furnish(api)
    ada = visitor_as("admin")

    pages = set(_pages_of_something(service.router))
    asked = {re.sub(r"\{[^}]*\}", named, path) for path in pages for named in ("X-404", "404")}
    answered = {path: ada.get(path).status_code for path in sorted(asked)}

    assert {"/green/{code}/cost", "/arrivals/{code}/weight", "/u/{code}"} <= pages
    assert [path for path, status in answered.items() if status not in {403, 404, 422}] == []
