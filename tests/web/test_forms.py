"""What is refused of a form, said where it was typed and in the language it is in."""

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fastapi import FastAPI

import app
from app.ledger.schemas import HoldIn
from app.shared.times import now
from app.web import forms
from app.web.plain import SAID
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, filled_fields, hidden_fields, words


def _errors(page: str) -> dict[str, str]:
    """Read what is said against a field, by its name."""
    return dict(re.findall(r'<p class="error" id="f-([\w-]+)-error"[^>]*>([^<]*)</p>', page))


def _order_of_which_20_went_out(api: Api, bags: dict[str, int]) -> str:
    """Enter order O-1, due today, and send 20 bags of HOUSE-250 for it; returns the day."""
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    packed = pack(api, {made: 10}, 40)["code"]
    today = str(now().date())
    wanted = [{"product": product, "bags": number} for product, number in bags.items()]
    api.post("/orders", {"code": "O-1", "customer": "Café Nord", "due_on": today, "lines": wanted})
    sent = {"customer": "Café Nord", "order": "O-1", "lines": [{"pack": packed, "bags": 20}]}
    api.post("/dispatches", sent)
    return today


def test_a_refusal_stands_at_the_row_that_was_typed_into_with_a_blank_one_before_it(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    today = _order_of_which_20_went_out(api, {"HOUSE-2000": 2, "HOUSE-250": 30})
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
    _order_of_which_20_went_out(api, {"HOUSE-250": 30})
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


class _Counted(dict[str, list[str]]):
    """Fields that know how often somebody looked them through."""

    looked_through = 0

    def __iter__(self) -> Iterator[str]:
        self.looked_through += 1
        return super().__iter__()


def test_a_form_of_many_flaws_is_not_looked_through_for_each_of_them() -> None:
    few, many = (_Counted({f"x{n}": ["1"] for n in range(each)}) for each in (2, 5000))

    for typed in (few, many):
        form = forms.sent(HoldIn, typed)
        # The reason and what is to be held are missing.
        assert len(form.errors) == len(typed) + 2
        assert form.errors["x1"] != form.errors["reason"] == "This is needed."

    assert many.looked_through == few.looked_through


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


def test_refusals_name_no_members_of_the_api_at_a_page(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    ada = visitor_as("admin")
    evidence, weight = "/green/GL-7/evidence", "/arrivals/GL-7/weight"
    cost = {"lot": "GL-7", "kind": "purchase", "currency": "EUR", "price": "3"}
    certificate = {"code": "BIO-1", "scheme": "EU organic", "claim": "organic", "number": "1"}
    gross = {"lots.0.name": "Sidamo", "lots.0.origin": "ET", "lots.0.sacks.0.gross_kg": "61",
             "supplier": "Finca El Roble"}  # fmt: skip
    half = {"produced_from": "2026-01-02"}
    back = half | {"produced_to": "2026-01-01"}
    period = {"valid_from": "2026-02-01", "valid_until": "2026-01-01"}

    refused = {
        "first and a last day": ada.fill(evidence, **half),
        "The time ends before it begins.": ada.fill(evidence, **back),
        "Give a statement": ada.fill(evidence),
        "stands alone: leave the rest empty": ada.fill(evidence, not_available="lost", **back),
        "A price is for one of a unit": ada.fill("/green/GL-7/cost", **cost),
        "that of the packaging is wanted, or the net": ada.fill(weight, gross_kg="61"),
        "the gross weight is wanted": ada.fill(weight, tare_kg="1"),
        "end before it begins.": ada.fill("/cards/certificates/new", **certificate, **period),
        "what some empty ones weigh": ada.fill_at("/receive", "/receive", **gross),
    }
    german = ada.post(evidence, hidden_fields(ada.get(evidence).text) | half, accept_language="de")
    ahead = ada.get("/trace?units=GL-7&direction=forward&as_of=2100-01-01T00:00")

    for said, answer in refused.items():
        assert answer.status_code == 422, said
        assert said in words(answer)
        assert not re.findall(r"\b[a-z]+_[a-z_]+\b", words(answer)), said
    assert "Die Zeit der Erzeugung hat einen ersten und einen letzten Tag" in words(german)
    assert (ahead.status_code, "lies ahead" in words(ahead)) == (422, True)


def test_what_is_said_plainly_at_pages_is_what_the_api_says_otherwise() -> None:
    package = Path(app.__file__).parent
    code = [file.read_text() for file in package.rglob("*.py") if "web" not in file.parts]
    said = {
        each.value
        for file in code
        for each in ast.walk(ast.parse(file))
        if isinstance(each, ast.Constant)
    }

    assert [each for each in SAID if each not in said] == []
