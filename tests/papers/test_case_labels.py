"""Labels of cases: what a scanner and a reader find on them."""

from typing import Any

import pytest
import zxingcpp
from fastapi import FastAPI

from app.papers.case_labels import QUIET, bars
from app.settings import Settings
from tests.api import Api, kg, problem
from tests.labels.paper import Paper
from tests.makers import furnish, pack, receive, roast, sack_codes

CODE_128 = zxingcpp.barcode_formats_from_str("Code128")
SSCC = "395212340000000427"


@pytest.fixture
def bags(api: Api) -> str:
    """A pack of 99 bags."""
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    code: str = pack(api, {roast(api, {sack: 60}, 51)["code"]: 25}, bags=99, code="PK-99")["code"]
    return code


def fetch(api: Api, code: str, bags: str) -> Paper:
    body: dict[str, Any] = {"code": code, "contents": [{"pack": bags, "bags": 12}]}
    api.post("/cases", body)
    answer = api.send("GET", f"/cases/{code}/label")
    assert answer.status_code == 200, answer.text
    assert answer.content == api.send("GET", f"/cases/{code}/label").content
    return Paper(answer.content)


@pytest.mark.parametrize("dpi", [203, 300])
def test_an_sscc_is_scanned_off_its_label_with_its_identifier(
    api: Api, bags: str, dpi: int
) -> None:
    paper = fetch(api, SSCC, bags)

    [seen] = zxingcpp.read_barcodes(paper.image(dpi), formats=CODE_128)

    # The symbology identifier ]C1 names GS1-128 (ISO/IEC 15417, from memory).
    assert (seen.symbology_identifier, seen.text) == ("]C1", f"(00){SSCC}")
    assert api.get(f"/cases/{seen.text}")["code"] == SSCC
    for text in (f"(00){SSCC}", "Case: 12 bags, 3.0 kg net", "L PK-99"):
        assert text in paper.text()


def test_a_code_of_the_house_is_scanned_as_qr(api: Api, bags: str) -> None:
    paper = fetch(api, "CASE-7", bags)

    assert [seen.text for seen in paper.scan(203)] == ["CASE-7"]
    assert "Case: 12 bags, 3.0 kg net" in paper.text()


@pytest.mark.parametrize("code", [SSCC, "CASE-7"])
def test_the_label_of_a_german_house_speaks_german(
    service: FastAPI, settings: Settings, api: Api, bags: str, code: str
) -> None:
    german = {"house_language": "de", "heavy_over_kg": kg("2.5")}
    service.state.settings = settings.model_copy(update=german)

    paper = fetch(api, code, bags)

    said = paper.text()
    for words in ("Karton: 12 Beutel, 3 kg netto", "L PK-99", "Schwer: mit Hebehilfe"):
        assert words in said
    if code == SSCC:
        assert [seen.text for seen in zxingcpp.read_barcodes(paper.image(203))] == [f"(00){SSCC}"]


def test_a_case_that_was_taken_apart_has_no_label(api: Api, bags: str) -> None:
    api.post("/cases", {"code": "CASE-7", "contents": [{"pack": bags, "bags": 12}]})
    api.post("/cases/CASE-7/take-apart", {})

    problem(api.send("GET", "/cases/CASE-7/label"), 409, "case-state")
    problem(api.send("GET", "/cases/CASE-8/label"), 404, "unknown-code")


def test_the_bars_fit_the_large_label_at_the_width_that_is_asked_for() -> None:
    assert (len(bars(SSCC)) + 2 * QUIET) * 495 <= 100_000
