"""Delivery notes: what they must say, over as many pages as it takes."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from fastapi import FastAPI

from app.labels.fonts import FontRuler
from app.labels.pieces import Lettering
from app.papers.drawing import draw_note
from app.papers.layout import NoteCase, NoteFacts, NoteLine, lay_out
from app.papers.sheets import PAGE, wrapped
from app.settings import Settings
from app.shared.texts import LANGUAGES, speech_in
from tests.api import Api, problem
from tests.labels.paper import Paper
from tests.makers import furnish, pack, receive, roast, sack_codes

SENT = datetime(2026, 3, 6, 6, 30, tzinfo=UTC)


def facts(**more: Any) -> NoteFacts:
    line = NoteLine("House", "HOUSE-250", "09521234000105", "L P-1", date(2027, 3, 5), 12, 3000)
    said: dict[str, Any] = {
        "code": "D-1", "sender": "Brackwater Quay", "sender_address": "Kaai 1\n4380 Brackwater",
        "customer": "Café Nord", "address": "Nordlaan 9\n4381 Brackwater", "dispatched_at": SENT,
        "recorded_at": SENT, "reference": "SO-310", "order": None, "voided": False,
        "lines": [line], "cases": [], "crates": [],
    }  # fmt: skip
    return NoteFacts(**(said | more))


def fetch(api: Api, code: str) -> bytes:
    answer = api.send("GET", f"/dispatches/{code}/delivery-note")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    return answer.content


@pytest.fixture
def sent(api: Api, service: FastAPI, settings: Settings) -> str:
    """A dispatch of loose bags and a case by SSCC, in a crate, to a customer with an address."""
    service.state.settings = settings.model_copy(
        update={"firm_name": "Brackwater Quay", "firm_address": "Kaai 1\n4380 Brackwater"}
    )
    furnish(api)
    address = {"address": "Nordlaan 9\n4381 Brackwater"}
    assert api.send("PATCH", "/customers/1", address, If_Match='"1"').status_code == 200
    [sack] = sack_codes(receive(api, 60))
    made = roast(api, {sack: 60}, 51)["code"]
    pack(api, {made: 25}, bags=99, code="PK-99", packed_at="2026-03-05T09:00:00Z")
    sscc = "395212340000000427"
    contents = [{"pack": "PK-99", "bags": 12}]
    packed = {"code": sscc, "contents": contents, "packed_at": "2026-03-05T10:00:00Z"}
    api.post("/cases", packed)
    api.post("/crate-kinds", {"name": "Green 60"})
    api.post("/crates/counts", {"kind": 1, "counted": 9, "reason": "bought"})
    code: str = api.post("/dispatches", {
        "customer": "Café Nord", "reference": "SO-310", "dispatched_at": "2026-03-06T06:30:00Z",
        "lines": [{"case": sscc}, {"pack": "PK-99", "bags": 3}],
        "crates": [{"kind": "Green 60", "count": 2}],
    })["code"]  # fmt: skip
    return code


def test_a_note_says_what_the_law_and_its_pattern_ask_for(api: Api, sent: str) -> None:
    said = Paper(fetch(api, sent)).text()

    # Guidance on Regulation (EC) 178/2002, Article 18(3): name and address of the business
    # customer, product, date.
    for text in ("Café Nord", "Nordlaan 9 4381 Brackwater", "House HOUSE-250", "2026-03-06 06:30"):
        assert text in said
    # Implementing Regulation (EU) No 931/2011, Article 3, for food of animal origin and here a
    # pattern: description, quantity, sender with address, receiver, lot, day of dispatch. Owners
    # are named where they are others; here they are sender and receiver.
    for text in ("15", "3.75 kg", "Brackwater Quay", "Kaai 1 4380 Brackwater", "L PK-99"):
        assert text in said
    for text in (
        sent,
        "SO-310",
        "2027-03-05",
        "Case SSCC (00)395212340000000427: 12 bags, 3.0 kg",
        "Green 60: 2",
        "178/2002, Article 18",
        "931/2011, Article 3",
        "page 1 of 1",
    ):
        assert text in said  # fmt: skip
    assert "VOIDED" not in said
    assert "safe" not in said.lower()


def test_the_note_of_a_german_house_speaks_german_whoever_fetches_it(
    api: Api, service: FastAPI, sent: str
) -> None:
    settings = service.state.settings
    service.state.settings = settings.model_copy(update={"house_language": "de"})
    api.post(f"/units/{sent}/void", {"reason": "wrong customer"})

    said = Paper(fetch(api, sent)).text()

    # Regulation (EU) No 1169/2011, Annex X, 1 (a), names the date; dates and decimal signs are
    # those of Unicode CLDR, common/main/de.xml.
    for text in (
        "STORNIERT", f"Lieferschein {sent}", "Absender", "Empfänger",
        "Versandt 06.03.2026 06:30 UTC", "Referenz SO-310", "Produkt", "Loskennzeichen",
        "Mindestens haltbar bis", "Beutel", "Netto", "05.03.2027", "Summe 15 3,75 kg",
        "Kartons und Paletten",
        "Karton SSCC (00)395212340000000427: 12 Beutel, 3 kg netto", "Kisten", "Green 60: 2",
        "178/2002, Artikel 18", "931/2011, Artikel 3", "Seite 1 von 1",
    ):  # fmt: skip
        assert text in said, text


def test_the_same_dispatch_makes_the_same_bytes(api: Api, sent: str) -> None:
    assert fetch(api, sent) == fetch(api, sent)


def test_the_note_of_a_voided_dispatch_says_so(api: Api, sent: str) -> None:
    api.post(f"/units/{sent}/void", {"reason": "wrong customer"})

    assert "VOIDED" in Paper(fetch(api, sent)).text()


def test_a_sale_over_the_counter_has_no_note(api: Api, sent: str) -> None:
    api.post("/customers", {"name": "Quay counter", "kind": "consumers"})
    sold = api.post("/sales", {
        "shop": "Quay counter", "sold_on": "2026-03-09", "lines": [{"pack": "PK-99", "bags": 1}],
    })["code"]  # fmt: skip

    assert sent
    problem(api.send("GET", f"/dispatches/{sold}/delivery-note"), 409, "wrong-kind")
    problem(api.send("GET", "/dispatches/PK-99/delivery-note"), 409, "wrong-kind")
    problem(api.send("GET", "/dispatches/D-404/delivery-note"), 404, "unknown-code")


def test_a_long_table_goes_on_under_its_heading_and_no_line_is_lost() -> None:
    lines = [
        NoteLine(f"Coffee {number}", f"C-{number}", None, f"L P-{number}", None, number, number)
        for number in range(1, 121)
    ]

    paper = Paper(draw_note(facts(lines=lines, voided=True)))

    pages = [paper.text(page) for page in range(len(paper))]
    assert len(pages) > 3
    for number, said in enumerate(pages, 1):
        assert "Delivery note D-1" in said
        assert "VOIDED" in said
        assert f"page {number} of {len(pages)}" in said
    assert all("Lot mark" in said for said in pages[:-1])
    whole = " ".join(pages)
    assert [number for number in range(1, 121) if f"Coffee {number} C-{number}" not in whole] == []
    assert "7.26 kg" in whole


def test_names_in_other_scripts_are_printed() -> None:
    line = facts().lines[0]._replace(product="淺焙 衣索比亞")

    said = Paper(draw_note(facts(customer="Кофейня Север", lines=[line]))).text()

    assert "Кофейня Север" in said
    assert "淺焙" in said


def test_what_nobody_entered_is_missed_aloud() -> None:
    said = Paper(draw_note(facts(sender="", sender_address="", address=None))).text()

    assert "Sender not entered Address not entered" in said
    assert said.count("Address not entered") == 2


@pytest.mark.parametrize("language", LANGUAGES)
def test_everything_stands_on_its_page_whatever_it_is_called(language: str) -> None:
    long = facts(
        code="D" * 32, customer="W" * 200, address="\n".join(["M" * 90] * 8), reference="R" * 200,
        lines=[NoteLine("Ä" * 200, "S" * 32, "09521234000105", f"L {'P' * 32}", None, 10**6, 10**7)]
        * 40,
        cases=[NoteCase("C" * 32, "crate_load", 10**6, 10**7)] * 90, crates=[("K" * 200, 10**5)],
    )  # fmt: skip
    ruler = FontRuler()

    pages = lay_out(long, ruler, speech_in(language))

    off = [
        words.text
        for page in pages
        for words in page.words
        if words.x + ruler.width(words.text, words.lettering, words.em) > PAGE[0]
        or not 0 < words.y < PAGE[1]
    ]
    assert off == []


def test_a_line_is_broken_between_words_and_inside_of_one_only_where_it_must_be() -> None:
    ruler = FontRuler()
    em = 3000
    width = ruler.width("House blend", Lettering.TEXT, em)

    assert wrapped("House blend of\nsummer", width, em, Lettering.TEXT, ruler) == [
        "House blend", "of", "summer",
    ]  # fmt: skip
    broken = wrapped("Housesblendsandmore", width, em, Lettering.TEXT, ruler)
    assert "".join(broken) == "Housesblendsandmore"
    assert len(broken) == 2
