"""Whoever holds a bag learns origin and roast date, and nothing that is the roastery's own."""

import re
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from fastapi import FastAPI

from app.bag.rules import Behind, marks_of, story
from app.settings import Settings
from tests.api import Api, problem
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

# An example GTIN of the GS1 General Specifications, clause 7.9 (check digits), from memory.
GTIN = "09521234000105"
ADDRESS = "1 Quay Row\nBrackwater"


@pytest.fixture
def settings(database_url: str, request: pytest.FixtureRequest) -> Settings:
    """A roastery that has switched the pages on, unless a test says otherwise."""
    said: dict[str, Any] = {"bag_pages": True, "firm_name": "Quay <Roasters>"}
    said |= getattr(request, "param", {})
    return Settings(
        database_url=database_url, hold_on_arrival=False, firm_address=ADDRESS, _env_file=None,
        **said,
    )  # fmt: skip


@pytest.fixture
def passer_by(service: FastAPI) -> Iterator[Api]:
    """Somebody with a bag and without a token."""
    somebody = Api(service, None)
    yield somebody
    somebody.close()


def ask(passer_by: Api, mark: str, accept: str = "text/html") -> httpx.Response:
    return passer_by.send("GET", f"/b/{quote(mark, safe='')}", accept=accept)


def as_json(passer_by: Api, mark: str) -> dict[str, Any]:
    answer = ask(passer_by, mark, "application/json")
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


@pytest.fixture
def mark(api: Api) -> str:
    """A blend of two origins, packed and sent."""
    furnish(api)
    api.post("/products", {
        "sku": "PIER-250", "name": "Pier & Quay", "nominal_g": 250, "gtin": GTIN,
    })  # fmt: skip
    one = sack_codes(receive(api, 60, lot="GL-ET", name="Sidama"))[0]
    other = sack_codes(receive(api, 60, lot="GL-BR", name="Cerrado", origin="BR"))[0]
    first = roast(api, {one: 30}, 25, code="R-ONE", roasted_at="2026-03-03T09:00:00Z")["code"]
    second = roast(api, {other: 30}, 25, code="R-TWO", roasted_at="2026-03-05T09:00:00Z")["code"]
    mixed = blend(api, {first: 20, second: 20}, code="B-ONE")["code"]
    made = pack(api, {mixed: 10}, 40, "PIER-250", code="P-ONE")
    dispatch(api, {"P-ONE": 12})
    return str(made["lot_mark"])


class Page(HTMLParser):
    """The words of a page, and what it would load or run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.loads: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.loads += [name for name, _ in attrs if name in {"src", "href", "action", "style"}]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_a_bag_tells_origin_and_roast_date_and_nothing_private(passer_by: Api, mark: str) -> None:
    answer = ask(passer_by, mark)

    page = Page(answer.text)
    said = " ".join(" ".join(page.words).split())
    assert answer.status_code == 200
    assert "Pier & Quay" in said
    assert "Brazil , Ethiopia" in said.replace(", ", " , ")
    assert "2026-03-03 to 2026-03-05" in said
    assert "Quay <Roasters>" in said
    for private in ("Finca", "Café Nord", "GL-", "R-ONE", "B-ONE", " kg", "Sidama", "Ida"):
        assert private not in answer.text
    assert "safe" not in said.lower()
    told = as_json(passer_by, mark)
    assert told == {
        "lot_mark": mark, "product": "Pier & Quay", "suppliers": [],
        "origins": [{"country": "BR", "name": "Brazil"}, {"country": "ET", "name": "Ethiopia"}],
        "roasted_from": "2026-03-03", "roasted_until": "2026-03-05",
        "contact_the_roastery": False,
    }  # fmt: skip


def test_the_page_loads_and_runs_nothing_and_fits_a_phone(passer_by: Api, mark: str) -> None:
    answer = ask(passer_by, mark)

    page = Page(answer.text)
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    assert page.tags & {"script", "img", "link", "iframe", "form"} == set()
    assert page.loads == []
    assert 'name="viewport"' in answer.text
    assert 'name="color-scheme" content="light dark"' in answer.text
    assert answer.headers["vary"] == "Accept"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert "set-cookie" not in answer.headers


def test_a_mark_is_read_as_people_write_it_and_unknown_ones_are_all_alike(
    api: Api, passer_by: Api, mark: str
) -> None:
    assert mark == "L P-ONE"
    for written in ("L P-ONE", "l p-one", "LP-ONE", "P-ONE", " L  P-ONE "):
        assert as_json(passer_by, written)["product"] == "Pier & Quay", written
    pack(api, {"B-ONE": 5}, 20, "PIER-250", code="P-HERE")

    not_sent = ask(passer_by, "L P-HERE")
    answers = [
        ask(passer_by, each) for each in ("L P-9", "B-ONE", "R-ONE", "GL-ET", "<b>", "x" * 99)
    ]

    assert {each.status_code for each in [not_sent, *answers]} == {404}
    assert not_sent.text == answers[0].text.replace("P-9", "P-HERE")
    assert "&lt;b&gt;" in answers[4].text
    problem(ask(passer_by, "L P-9", "application/json"), 404, "not-found")
    assert ask(passer_by, "L\0P").status_code == 404


def test_of_coffee_that_is_stopped_or_asked_after_a_bag_says_only_to_get_in_touch(
    api: Api, passer_by: Api, mark: str
) -> None:
    def only_contact() -> bool:
        told = as_json(passer_by, mark)
        said = ask(passer_by, mark).text
        quiet = "Ethiopia" not in said and "2026-03" not in said and "hold" not in said
        assert told["contact_the_roastery"] is ("Please contact the roastery" in said)
        assert not told["contact_the_roastery"] or (quiet and told["origins"] == [])
        return bool(told["contact_the_roastery"])

    for unit in ("P-ONE", "B-ONE", "R-TWO", "GL-ET"):
        held = api.post("/holds", {"units": [unit], "reason": "musty"})
        assert only_contact(), unit
        api.post(f"/holds/{held['id']}/release", {"reason": "it was the drawer"})
        assert not only_contact()
    case = {
        "code": "Q-1", "kind": "inquiry", "trigger": {"kind": "complaint", "text": "musty"},
        "start": {"units": ["GL-BR"]},
    }  # fmt: skip
    api.post("/recalls", case)
    assert only_contact()
    api.post("/recalls/Q-1/close", {"reason": "nothing found"})
    assert not only_contact()
    api.post("/drills", {"lot": "GL-ET", "pack": "P-ONE"})
    assert not only_contact(), "a drill tells nobody"


@pytest.mark.usefixtures("mark")
def test_of_a_voided_run_the_one_in_its_place_tells_and_else_nobody(
    api: Api, passer_by: Api
) -> None:
    pack(api, {"B-ONE": 5}, 20, "PIER-250", code="P-TWO")
    sent = dispatch(api, {"P-TWO": 5})["code"]
    assert ask(passer_by, "L P-TWO").status_code == 200
    api.post(f"/units/{sent}/void", {"reason": "never left"})
    assert ask(passer_by, "L P-TWO").status_code == 404

    corrected = pack(
        api, {"B-ONE": 5}, 20, code="P-TRUE", sku="HOUSE-250",
        corrects="P-TWO", correction_reason="the other bags",
    )  # fmt: skip
    dispatch(api, {"P-TRUE": 5})

    assert corrected["code"] == "P-TRUE"
    assert as_json(passer_by, "L P-TWO")["product"] == "House"


@pytest.mark.usefixtures("mark")
def test_a_digital_link_leads_to_the_bag(passer_by: Api) -> None:
    # GS1 Digital Link standard, URI syntax: /01/{GTIN}/10/{batch or lot}, further keys after it.
    for path in (
        f"/01/{GTIN}/10/P-ONE", f"/01/{GTIN}/10/LP-ONE?17=271231", f"/01/{GTIN[1:]}/10/P-ONE",
        f"/01/{GTIN}/10/P-ONE/21/7",
    ):  # fmt: skip
        answer = passer_by.send("GET", path)
        assert answer.status_code == 307, path
        assert answer.headers["location"] == "/b/L%20P-ONE"
        assert passer_by.send("GET", answer.headers["location"]).status_code == 200
    for path in (f"/01/{GTIN}", f"/01/{GTIN}/10/P-9", "/01/09521234000106/10/P-ONE", "/01/x/y"):
        assert passer_by.send("GET", path).status_code == 404, path


@pytest.mark.parametrize("settings", [{"bag_pages": False}], indirect=True)
@pytest.mark.usefixtures("mark")
def test_switched_off_the_doors_are_absent(passer_by: Api) -> None:
    absent = passer_by.send("GET", "/b/")
    for path in ("/b/L%20P-ONE", "/b/P-9", f"/01/{GTIN}/10/P-ONE", "/01/x"):
        document = problem(passer_by.send("GET", path), 404, "not-found")
        assert document["detail"].endswith(": Not Found")
        assert document.keys() == absent.json().keys()


def test_the_doors_are_off_unless_they_are_switched_on(database_url: str) -> None:
    assert not Settings(database_url=database_url, _env_file=None).bag_pages


@pytest.mark.parametrize(
    "settings", [{"bag_pages_name_suppliers": True, "bag_pages_a_minute": 2}], indirect=True
)
def test_suppliers_are_named_where_the_roastery_chose_so_and_crowds_are_asked_to_wait(
    passer_by: Api, mark: str
) -> None:
    assert as_json(passer_by, mark)["suppliers"] == ["Finca El Roble"]
    assert "Finca El Roble" in ask(passer_by, mark).text

    crowded = ask(passer_by, mark, "application/json")

    assert problem(crowded, 503, "busy")
    assert crowded.headers["retry-after"]


def test_what_was_behind_a_bag_is_told_once_and_in_order() -> None:
    behind = [
        Behind("lot", date(2026, 1, 1), "ET", "A"), Behind("lot", date(2026, 1, 1), "ET", "B"),
        Behind("roast", date(2026, 3, 5)), Behind("roast", date(2026, 3, 3)),
    ]  # fmt: skip

    told = story("House", behind, questioned=False, suppliers=True)

    assert (told.origins, told.suppliers) == (["ET"], ["A", "B"])
    assert (told.roasted_from, told.roasted_until) == (date(2026, 3, 3), date(2026, 3, 5))
    assert story("House", behind, questioned=True, suppliers=True).origins == ()
    assert marks_of("  ") == []
    assert marks_of("LX") == ["LX", "L LX", "L X"]
    assert not any(re.search(r"\s\s", mark) for mark in marks_of("l  x"))
