"""The evidence of a case: a report to sign, and tables that an authority can sort."""

import csv
import io
import zipfile
from collections import defaultdict
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from openpyxl import load_workbook
from pypdfium2 import PdfDocument
from sqlalchemy import Engine

from app.recall.evidence.codes import CODES
from app.recall.evidence.report import MOST_ROWS
from app.shared.cells import cell
from tests.api import Api, problem
from tests.recall.working_off import ODD, work_off
from tests.tracing.loading import Network, book, code_of, evenly

Rows = list[dict[str, Any]]


def fetch(api: Api, code: str, ending: str) -> bytes:
    answer = api.send("GET", f"/recalls/{code}/report.{ending}")
    assert answer.status_code == 200, answer.text
    assert f"{code}.{ending}" in answer.headers["content-disposition"]
    return answer.content


def rows_of(sheet: Any) -> Rows:
    header, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(header, row, strict=True)) for row in rows]


def sheets(content: bytes) -> dict[str, Rows]:
    book = load_workbook(io.BytesIO(content))
    return {sheet.title: rows_of(sheet) for sheet in book.worksheets}


def csv_rows(content: bytes) -> Rows:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def words_of(content: bytes) -> str:
    pages = (page.get_textpage().get_text_bounded() for page in PdfDocument(content))
    return " ".join(" ".join(pages).split())


def exact(number: Any) -> Decimal:
    return Decimal(str(number))


@pytest.fixture
def worked(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A recall of two sacks that is being worked off."""
    work_off(api)
    yield api
    book_is_sound()


def test_the_workbook_says_to_the_gram_what_the_service_answers(worked: Api) -> None:
    found = sheets(fetch(worked, "RC-1", "xlsx"))
    scope = worked.get("/recalls/RC-1/scopes/2")
    told = worked.get("/recalls/RC-1/reconciliation")

    assert list(found) == [
        "case", "units", "events", "flows", "consignees", "reconciliation", "working_off", "log",
        "codes",
    ]  # fmt: skip
    units = {row["unit"]: row for row in found["units"]}
    listed = [*scope["units_listed"], *scope["contact_listed"]]
    assert units.keys() == {each["code"] for each in listed}
    for each in listed:
        row = units[each["code"]]
        for name in ("made_kg", "left_kg", "suspect_kg"):
            assert (each[name] is None) == (row[name] is None)
            assert each[name] is None or each[name] == exact(row[name])
    assert {row["in_scope"] for row in units.values()} == {"start", "reached", "contact"}
    assert units["RB-2"]["after"] == "RB-1"
    assert units["LOT-A"]["supplier"] == "Finca El Roble"
    assert_events_add_up(worked, found["events"], units)
    figures = {row["figure"]: row["number"] for row in found["reconciliation"]}
    assert figures["closes"] is True
    for name, number in {**told["bags"], **told["effectiveness"]}.items():
        assert exact(figures[name]) == number
    sent = [(row["customer"], row["dispatch"], row["bags"]) for row in found["consignees"]]
    assert sent == [(ODD, "DS-2", 3), ("Café Nord", "DS-1", 12)]
    worked_off = {row["customer"]: row for row in found["working_off"]}
    assert worked_off["Café Nord"]["unaccounted_bags"] == 3
    log = worked.get("/recalls/RC-1/log")["items"]
    assert [row["what"] for row in found["log"]] == [line["what"] for line in log]
    assert ("LOT-A", units["RB-1"]["unit"]) not in {
        (row["source"], row["target"]) for row in found["flows"]
    }
    made = sum(exact(row["kg"]) for row in found["flows"] if row["target"] == "RB-1")
    assert made == 30


def assert_events_add_up(api: Api, events: Rows, units: dict[str, Any]) -> None:
    """Every unit's rows add up to what is left of it, and every word in them is explained."""
    sums: dict[str, Decimal] = defaultdict(Decimal)
    for row in events:
        sums[row["unit"]] += exact(row["kg"] or 0)
        assert row["event"] in CODES["event"]
        assert row["in_scope"] in CODES["in_scope"]
        assert row["kind"] in CODES["kind of a unit"]
    for code, row in units.items():
        assert sums[code] == api.get(f"/units/{code}")["left_kg"] == exact(row["left_now_kg"])
    happened = {row["event"] for row in events}
    assert happened == {"made", "went_into", "adjusted", "held", "voided"}
    assert [row["unit"] for row in events if row["event"] == "voided"] == ["BL-2"]


def test_numbers_are_written_as_decimals_and_no_text_is_run(worked: Api) -> None:
    content = fetch(worked, "RC-1", "xlsx")

    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        written = {name: parts.read(name).decode() for name in parts.namelist()}
    units = written["xl/worksheets/sheet2.xml"]
    assert "<v>24.750</v>" in units
    assert "<v>25.500</v>" in units
    assert not any("<f>" in text for text in written.values())
    assert any(f"{ODD}</t>" in text for text in written.values())
    assert content == fetch(worked, "RC-1", "xlsx")
    assert fetch(worked, "RC-1", "zip") == fetch(worked, "RC-1", "zip")


def test_the_csv_has_a_row_per_unit_and_event_and_the_archive_explains_the_codes(
    worked: Api,
) -> None:
    events = csv_rows(fetch(worked, "RC-1", "csv"))
    content = fetch(worked, "RC-1", "zip")
    book = sheets(fetch(worked, "RC-1", "xlsx"))

    with zipfile.ZipFile(io.BytesIO(content)) as files:
        found = {name: files.read(name) for name in files.namelist()}
    assert found["events.csv"] == fetch(worked, "RC-1", "csv")
    assert list(found) == ["READ-ME.txt", *(f"{name}.csv" for name in book)]
    for name, rows in book.items():
        for row, same in zip(csv_rows(found[f"{name}.csv"]), rows, strict=True):
            for column, value in same.items():
                number = isinstance(value, int | float) and not isinstance(value, bool)
                assert exact(row[column]) == exact(value) if number else row[column] == cell(value)
    # OWASP, "CSV Injection": no cell begins with = + - @ unless it is a number.
    consignees = csv_rows(found["consignees.csv"])
    assert {row["customer"] for row in consignees} == {"Café Nord", f"'{ODD}"}
    assert {"unit", "event", "kg", "entry"} <= events[0].keys()
    assert {row["code"] for row in csv_rows(found["codes.csv"])} >= {"went_into", "lot", "contact"}


def test_the_report_says_what_was_found_where_it_is_and_what_was_done(worked: Api) -> None:
    content = fetch(worked, "RC-1", "pdf")
    said = words_of(content)
    scope = worked.get("/recalls/RC-1/scopes/2")
    at_entry, caution = scope["at_entry"], scope["caution"]

    for text in (
        "Recall RC-1", "complaint: @musty", "mould", caution,
        f"scope 2 of 2, as the book had it at entry {at_entry}", "units LOT-A",
        "99 bags made = 87 in the house + 11 in the market + 0 destroyed here + 1 adjusted",
        "15 sent less 4 returned", "Both accounts close to the bag",
        "1 of 2 consignees: coverage 50.0 %", "Ida, +49 000 1234", "DS-2", "24.750",
        "Possible contact", "RB-2", "mould in a bag", "Signature", "Where the coffee", ODD,
        "check character over letter and number",
    ):  # fmt: skip
        assert text.casefold() in said.casefold(), text
    assert content == fetch(worked, "RC-1", "pdf")
    assert "DRILL" not in said


def test_the_report_of_a_drill_says_so_on_every_page(worked: Api) -> None:
    worked.post("/drills", {"code": "DR-1", "lot": "LOT-A", "pack": "PK-1"})
    worked.post("/drills/DR-1/complete", {"gaps": ["no list by the phone"]})

    content = fetch(worked, "DR-1", "pdf")

    pages = PdfDocument(content)
    texts = [page.get_textpage().get_text_bounded() for page in pages]
    assert all("DRILL" in text for text in texts)
    said = " ".join(" ".join(texts).split())
    assert "Minutes 0.0; goal 240, met" in said
    assert "no list by the phone" in said
    assert "where the coffee came from" in said
    assert f"page {len(pages)} of {len(pages)}" in said
    kinds = {row["what"]: row["said"] for row in sheets(fetch(worked, "DR-1", "xlsx"))["case"]}
    assert kinds["drill"] is True


def test_a_long_scope_makes_no_long_report(api: Api, engine: Engine) -> None:
    nodes = {"lot": [], **{f"b{i}": ["lot"] for i in range(1500)}}
    network = Network(nodes)
    book(engine, network, network.flows(1000, evenly), 1000)
    body = {"code": "RC-1", "kind": "inquiry", "trigger": {"kind": "complaint", "text": "musty"}}
    api.post("/recalls", body | {"start": {"units": [code_of("lot")]}})

    content = fetch(api, "RC-1", "pdf")

    said = words_of(content)
    assert f"{1500 - MOST_ROWS} more of 1500 blends stand in the workbook" in said
    assert len(PdfDocument(content)) < 8
    assert len(sheets(fetch(api, "RC-1", "xlsx"))["units"]) == 1501


def test_there_is_no_report_without_a_scope(api: Api) -> None:
    body = {"code": "RC-1", "kind": "inquiry", "trigger": {"kind": "complaint", "text": "musty"}}
    api.post("/recalls", body)

    for ending in ("pdf", "xlsx", "csv", "zip"):
        problem(api.send("GET", f"/recalls/RC-1/report.{ending}"), 409, "recall-state")
        problem(api.send("GET", f"/recalls/RC-9/report.{ending}"), 404, "not-found")
