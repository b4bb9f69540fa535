"""ICO marks in every form somebody prints, coffee years, and the marks that real graders typed."""

import csv
import json
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from app.standards.ico_marks import (
    Mark,
    MarkForm,
    coffee_year,
    coffee_year_label,
    form_of,
    parse_mark,
    read_coffee_year,
)

CLASSES = {
    MarkForm.BLANK: "blank",
    MarkForm.EXACT: "exact_NNN/NNNN/NNNN",
    MarkForm.THREE_GROUPS: "three_groups_repairable",
    MarkForm.FIVE_DIGIT_SERIAL: "three_groups_five_digit_serial",
    MarkForm.TOO_LONG: "three_groups_too_long",
    MarkForm.TWO_GROUPS: "two_groups",
    MarkForm.DIGITS: "digits_only",
    MarkForm.OTHER: "other_text",
}
"""How the keepers of the real lots call each form."""


def test_a_mark_is_country_exporter_and_serial() -> None:
    # ITC Coffee Guide, Identification of exports: 002-1961-0978 is country 2 (Brazil), exporter
    # 1961, shipment 978.
    assert parse_mark("002-1961-0978") == Mark(country=2, exporter=1961, serial=978)


def test_forms_with_and_without_leading_zeros_are_one_mark() -> None:
    # That leading zeros are dropped on sacks is from memory.
    printed = ("2/1961/978", "002-1961-0978", "002/1961/0978", " 2 / 1961 - 978 ")
    marks = [parse_mark(each) for each in printed]

    assert {mark.key for mark in marks if mark} == {"2/1961/978"}
    assert {mark.canonical for mark in marks if mark} == {"002/1961/0978"}
    assert None not in marks


@pytest.mark.parametrize(
    ("printed", "form", "canonical"),
    [
        ("002/1961/0978", MarkForm.EXACT, "002/1961/0978"),
        (" 002/1961/0978", MarkForm.THREE_GROUPS, "002/1961/0978"),
        ("1/1/1", MarkForm.THREE_GROUPS, "001/0001/0001"),
        # Five digits: a trade article on the rules revised in October 2022; the ITC guide says
        # up to four.
        ("2/1961/10978", MarkForm.FIVE_DIGIT_SERIAL, "002/1961/10978"),
        ("2/1961/00978", MarkForm.FIVE_DIGIT_SERIAL, "002/1961/0978"),
        ("2/1961/109780", MarkForm.TOO_LONG, None),
        ("0002/1961/978", MarkForm.TOO_LONG, None),
        ("2/11961/978", MarkForm.TOO_LONG, None),
        ("2014/2015", MarkForm.TWO_GROUPS, None),
        ("0021961", MarkForm.DIGITS, None),
        ("002/1961/0978 AB", MarkForm.OTHER, None),
        ("٢/1961/978", MarkForm.OTHER, None),
        ("2/1961/978/1", MarkForm.OTHER, None),
        ("2//978", MarkForm.OTHER, None),
        ("", MarkForm.BLANK, None),
        (" \t", MarkForm.BLANK, None),
    ],
)
def test_what_has_the_form_of_a_mark_is_one_and_nothing_else(
    printed: str, form: MarkForm, canonical: str | None
) -> None:
    mark = parse_mark(printed)

    assert form_of(printed) is form
    assert (mark.canonical if mark else None) == canonical


@pytest.mark.parametrize(
    ("day", "label"),
    [
        # ITC Coffee Guide, Identification of exports; ICO note of 6 September 2012 on the
        # numbering of certificates: the coffee year runs from 1 October to 30 September.
        (date(2025, 9, 30), "2024/25"),
        (date(2025, 10, 1), "2025/26"),
        (date(2000, 1, 1), "1999/00"),
        (date(2099, 12, 31), "2099/00"),
    ],
)
def test_a_coffee_year_begins_on_the_first_of_october(day: date, label: str) -> None:
    assert coffee_year_label(coffee_year(day)) == label
    assert read_coffee_year(label) == coffee_year(day)


@pytest.mark.parametrize(
    ("said", "year"),
    [
        ("2025/26", 2025),
        ("2025/2026", 2025),
        (" 2025 / 26 ", 2025),
        ("2025/27", None),
        ("2025/25", None),
        ("2025-26", None),
        ("2025", None),
        ("25/26", None),
        ("", None),
    ],
)
def test_a_coffee_year_is_read_as_two_years_that_follow(said: str, year: int | None) -> None:
    assert read_coffee_year(said) == year


@pytest.fixture(scope="session")
def real_lots(shared: Path) -> list[dict[str, str]]:
    with (shared / "data/open/lots.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="session")
def expected(shared: Path) -> Mapping[str, Any]:
    text = (shared / "data/open/EXPECTED.json").read_text(encoding="utf-8")
    figures: Mapping[str, Any] = json.loads(text)["figures"]
    return figures


def graded_on(lot: Mapping[str, str]) -> date:
    plain = re.sub(r"(\d+)(?:st|nd|rd|th)", r"\1", lot["grading_date"].strip())
    return datetime.strptime(plain, "%B %d, %Y").date()  # noqa: DTZ007 - a day only


def marks_of(lots: Sequence[Mapping[str, str]]) -> list[tuple[Mark, int]]:
    """Read the mark of each lot that has one, with the coffee year it was graded in."""
    read = [(parse_mark(lot["ico_number"]), coffee_year(graded_on(lot))) for lot in lots]
    return [(mark, year) for mark, year in read if mark is not None]


def test_the_marks_of_real_lots_fall_into_the_classes_their_keepers_counted(
    real_lots: list[dict[str, str]], expected: Mapping[str, Any]
) -> None:
    # EXPECTED.json beside lots.csv, section `ico_number`.
    forms = {lot["row_id"]: form_of(lot["ico_number"]) for lot in real_lots}
    too_long = expected["ico_number"]["three_groups_too_long_rows"]

    counted = {CLASSES[form]: count for form, count in Counter(forms.values()).items()}
    assert counted == expected["ico_number"]["rows_by_class"]
    assert {row for row, form in forms.items() if form is MarkForm.TOO_LONG} == too_long.keys()


def test_the_canonical_marks_of_real_lots_are_those_their_keepers_counted(
    real_lots: list[dict[str, str]], expected: Mapping[str, Any]
) -> None:
    # EXPECTED.json beside lots.csv, section `ico_number`.
    figures = expected["ico_number"]
    marks = marks_of(real_lots)
    rows = Counter(mark.canonical for mark, _ in marks)
    years: dict[str, set[int]] = {}
    for mark, year in marks:
        years.setdefault(mark.canonical, set()).add(year)
    shared_marks = {mark: count for mark, count in rows.items() if count > 1}

    assert len(marks) == figures["rows_with_a_canonical_mark"]
    assert len(rows) == len({mark.key for mark, _ in marks}) == figures["distinct_canonical_marks"]
    assert len(shared_marks) == figures["marks_on_more_than_one_row"]
    assert sum(shared_marks.values()) == figures["rows_under_those_marks"]
    assert rows.most_common(1) == [tuple(figures["largest_group"])]
    assert (
        sorted(mark for mark, seen in years.items() if len(seen) > 1)
        == figures["marks_seen_in_more_than_one_coffee_year_of_grading"]
    )
    by_country = Counter(mark.canonical[:3] for mark, _ in marks)
    assert by_country == figures["rows_by_canonical_country_part"]


def test_real_lots_were_graded_in_the_coffee_years_their_keepers_counted(
    real_lots: list[dict[str, str]], expected: Mapping[str, Any]
) -> None:
    # EXPECTED.json beside lots.csv, section `dates`.
    years = Counter(str(coffee_year(graded_on(lot))) for lot in real_lots)

    assert years == expected["dates"]["rows_graded_per_coffee_year"]
