"""The buying report: what is printed is what the API answers, with its day and its cautions."""

from pypdfium2 import PdfDocument

from app.buying.report import CAUTION
from tests.api import Api
from tests.buying.house import buy_and_roast
from tests.cover.conftest import only


def words_of(content: bytes) -> str:
    pages = (page.get_textpage().get_text_bounded() for page in PdfDocument(content))
    return " ".join(" ".join(pages).split())


def test_the_report_prints_board_orders_projections_and_age_with_settings_and_cautions(
    api: Api,
) -> None:
    buy_and_roast(api)
    cover, orders = api.get("/cover?by=component"), api.get("/cover/orders")
    answer = api.send("GET", "/cover/report.pdf")
    said = words_of(answer.content)

    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == api.send("GET", "/cover/report.pdf").content
    assert f"buying-report-{cover['as_of']}.pdf" in answer.headers["content-disposition"]
    assert " ".join(CAUTION.split()) in said
    for setting in ("over 28 and over 56 days", "95 %", "90 days, spread 14", "pallet 600 kg"):
        assert setting in said
    for row in cover["items"]:
        assert f"{row['key']} {row['available_kg']:.3f} {row['held_kg']:.3f}" in said
    bright, base = only(orders, "Bright"), only(orders, "Base")
    assert f"{base['order_by']}, now Base {base['units']} sacks, {base['suggested_kg']} kg" in said
    now = ", now" if bright["due"] else ""
    assert f"{bright['order_by']}{now} Bright {bright['units']} sacks" in said
    assert "40 (card)" in said
    assert " ".join(base["why"].split()) in said
    assert "nobody knows when it comes: 300.0 kg of PC-FWD" in said
    first = said.index("GL-FILTER Lot GL-FILTER KE")
    assert first < said.index("GL-BASE Lot GL-BASE BR"), "the oldest crop stands first"
    assert "GL-HELD Lot GL-HELD (on hold)" in said
    document = PdfDocument(answer.content)
    assert 2 <= len(document) <= 4
    drawn = [sum(1 for _ in page.get_objects(filter=[3])) for page in document]
    assert sum(drawn) == 4, "board, two projections, age"
    assert f"page 1 of {len(document)}" in said


def test_the_report_of_an_empty_book_says_that_there_is_nothing(api: Api) -> None:
    said = words_of(api.send("GET", "/cover/report.pdf").content)

    assert "up to entry 0" in said
    assert said.count("None.") == 3
