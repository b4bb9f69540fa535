"""The evidence of a case in the language of whoever fetches it at the pages."""

import io
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from openpyxl import load_workbook

from app.ledger.tables import UnitKind
from app.recall.evidence import codes
from app.recall.evidence.wording import word
from app.recall.rules import CaseKind, Step
from app.recall.tables import How, TriggerKind
from app.shared.texts import speech_in
from tests.api import Api
from tests.recall.test_evidence import csv_rows, fetch, sheets, words_of
from tests.recall.working_off import work_off
from tests.web import catalogue
from tests.web.conftest import Visitor

GERMAN = speech_in("de")
CAUTION = (
    "Hier steht, was die Einträge verbinden. Ob zurückgenommen oder zurückgerufen wird, "
    "entscheidet das Lebensmittelunternehmen mit seiner zuständigen Behörde."
)
READ_AS_SENTENCES = {"case": "caution", "codes": None}
"""Sheets with words of a language: the row of the case that is, and every row of the codes."""


def english_of_the_evidence() -> Iterator[str]:
    """Take from the code each text of the papers between its figures, long enough to be known."""
    said, named = catalogue.read("de"), {code for each in codes.CODES.values() for code in each}
    for *_where, message, _comments, _context in extract_from_dir(
        str(Path(codes.__file__).parent), keywords={"N_": None, "say": None, "gettext": None}
    ):
        german = said.get(message)
        assert german is not None, message
        for part in re.split(r"%\(\w+\)s", str(message)):
            words = " ".join(part.split())
            if len(words) > 7 and words not in {*named, *str(german.string).split()}:
                yield words


@pytest.fixture
def worked(api: Api) -> Api:
    work_off(api)
    api.post("/drills", {"code": "DR-1", "lot": "LOT-A", "pack": "PK-1"})
    api.post("/drills/DR-1/complete", {"gaps": ["niemand fand die Liste"]})
    return api


def german(visitor: Visitor, code: str, ending: str) -> bytes:
    answer = visitor.get(f"/recalls/{code}/case.{ending}", accept_language="de")
    assert answer.status_code == 200
    assert f"{code}.{ending}" in answer.headers["content-disposition"]
    return answer.content


@pytest.mark.usefixtures("worked")
def test_the_report_of_a_recall_is_german_for_who_reads_german(
    visitor_as: Callable[..., Visitor],
) -> None:
    content = german(visitor_as("quality"), "RC-1", "pdf")
    said = words_of(content)

    for text in (
        "Rückruf RC-1", CAUTION, "Stand in Abarbeitung", "Anlass Reklamation: @musty",
        "Gefahr mould", "Was das Gesetz verlangt Nehmen Sie es zurück",
        "Umfang 2 von 2, nach dem Buch bei Eintrag", "Beginnt bei Einheiten LOT-A",
        "Einheiten nach Art, und wo der verdächtige Kaffee war", "Wer Beutel bekam",
        "Abgleich, wie das Buch jetzt steht",
        "99 Beutel gemacht = 87 im Haus + 11 im Markt + 0 hier vernichtet + 1 berichtigt",
        "Beide Rechnungen gehen auf den Beutel auf", "1 von 2 Empfängern: Abdeckung 50 %",
        "1-mal (Telefon)", "24,750", "Abpackung Jetzt", "Möglicher Kontakt", "Zeitlicher Ablauf",
        "mould in a bag", "Abzeichnung", "Unterschrift", "wohin der Kaffee ging", "Seite 1 von",
        "Was Codes und Wörter bedeuten", "Prüfzeichen über Buchstabe und Nummer",
        "working_off Empfänger werden benachrichtigt",
    ):  # fmt: skip
        assert text in said, text
    assert [text for text in english_of_the_evidence() if text in said] == []
    assert "24.750" not in said


@pytest.mark.usefixtures("worked")
def test_the_report_of_a_drill_is_german_with_its_gaps_and_its_scenario(
    visitor_as: Callable[..., Visitor],
) -> None:
    content = german(visitor_as("quality"), "DR-1", "pdf")
    said = words_of(content)

    for text in (
        "ÜBUNG", "Übung DR-1", CAUTION, "Anlass Übung: eine Übung", "Das Gesetz im Ernstfall",
        "Niemand wurde benachrichtigt und nichts gesperrt",
        "Partie vorwärts: LOT-A; Abpackung rückwärts: PK-1", "Minuten 0; Ziel 240, erreicht",
        "Abpackungen ohne Packmittel: 1", "niemand fand die Liste", "eine Probe, gelesen",
        "woher der Kaffee kam",
    ):  # fmt: skip
        assert text in said, text
    assert [text for text in english_of_the_evidence() if text in said] == []
    assert "packs without" not in said
    assert "DRILL" not in said


@pytest.mark.usefixtures("worked")
def test_the_pages_of_a_drill_say_in_german_what_is_rehearsed_where_nobody_wrote_it(
    visitor_as: Callable[..., Visitor],
) -> None:
    visitor = visitor_as("quality")
    for path in ("/drills/DR-1", "/recalls/DR-1"):
        assert '<p class="lead">eine Übung</p>' in visitor.get(path, accept_language="de").text
        assert '<p class="lead">a drill</p>' in visitor.get(path).text
    case = visitor.get("/recalls/RC-1", accept_language="de").text
    assert '<p class="lead">eine Reklamation: @musty</p>' in case


def test_the_tables_are_the_same_but_for_caution_and_meanings_which_are_german(
    worked: Api, visitor_as: Callable[..., Visitor]
) -> None:
    visitor = visitor_as("quality")
    plain, spoken = fetch(worked, "RC-1", "xlsx"), german(visitor, "RC-1", "xlsx")
    here, there = sheets(plain), sheets(spoken)

    assert list(here) == list(there)
    for name in here.keys() - READ_AS_SENTENCES.keys():
        assert here[name] == there[name], name
    assert [row for row in there["case"] if row not in here["case"]] == [
        {"what": "caution", "said": CAUTION}
    ]
    assert [row.keys() for row in here["codes"]] == [row.keys() for row in there["codes"]]
    told = {row["code"]: row for row in there["codes"]}
    assert told["went_into"]["meaning"] == "Kaffee daraus ging in 'other'; kleiner als null"
    assert told["recall"] == {
        "where": "Art eines Falls", "code": "recall",
        "meaning": "auch Verbraucher werden darum gebeten",
    }  # fmt: skip
    assert told.keys() - {row["code"] for row in here["codes"]} == {
        "letztes Zeichen", "jeder andere Code"
    }  # fmt: skip
    same = {row["meaning"] for row in here["codes"]} & {row["meaning"] for row in there["codes"]}
    assert same == set()
    properties = load_workbook(io.BytesIO(spoken)).properties
    assert (properties.title, properties.description) == ("Rückruf RC-1", CAUTION)


def test_the_archive_says_in_german_how_it_is_read_and_that_names_stay(
    worked: Api, visitor_as: Callable[..., Visitor]
) -> None:
    visitor = visitor_as("quality")

    with zipfile.ZipFile(io.BytesIO(german(visitor, "RC-1", "zip"))) as files:
        about = files.read("READ-ME.txt").decode()
        codes_told = csv_rows(files.read("codes.csv"))
        events = files.read("events.csv")

    assert about.startswith("Rückruf RC-1\r\n\r\n" + CAUTION)
    assert "Codes und Zahlen sind in jeder Sprache dieselben" in about
    assert [text for text in english_of_the_evidence() if text in about] == []
    assert "hier beginnt der Fall" in {row["meaning"] for row in codes_told}
    assert events == german(visitor, "RC-1", "csv") == fetch(worked, "RC-1", "csv")


def test_a_page_in_english_hands_out_the_very_files_of_the_api(
    worked: Api, visitor_as: Callable[..., Visitor]
) -> None:
    visitor = visitor_as("quality")
    for ending in ("pdf", "xlsx", "csv", "zip"):
        page = visitor.get(f"/recalls/RC-1/case.{ending}").content
        assert page == fetch(worked, "RC-1", ending)
    # A program that asks in German is answered as ever: only people are spoken to.
    asked = worked.send("GET", "/recalls/RC-1/report.pdf", Accept_Language="de").content
    assert asked == fetch(worked, "RC-1", "pdf")


def test_whatever_a_case_can_be_has_its_german_word() -> None:
    for kind in (CaseKind, Step, TriggerKind, How, UnitKind):
        for each in kind:
            assert word(each, GERMAN) != each.replace("_", " "), each
