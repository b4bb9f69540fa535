"""Dates of quality on labels: how long, how written, and whether they tell bags apart."""

from datetime import date

import pytest

from app.shared.texts import speech_in
from app.standards.best_before import (
    DateForm,
    Keeps,
    add_months,
    covers_until,
    least_form,
    least_form_between,
    serves_as_lot_mark,
    stronger,
    written,
)

DAY, MONTH, YEAR = DateForm
IN_NOVEMBER = date(2027, 11, 5)


@pytest.mark.parametrize(
    ("begin", "months", "end"),
    # Pure arithmetic on the calendar.
    [
        ("2026-11-05", 12, "2027-11-05"), ("2026-01-31", 1, "2026-02-28"),
        ("2028-01-31", 1, "2028-02-29"), ("2028-02-29", 12, "2029-02-28"),
        ("2026-08-31", 3, "2026-11-30"), ("2026-12-31", 2, "2027-02-28"),
        ("2026-12-01", 1, "2027-01-01"), ("2026-11-30", 13, "2027-12-30"),
    ],
)  # fmt: skip
def test_months_go_by_the_calendar_and_end_where_a_month_does(
    begin: str, months: int, end: str
) -> None:
    assert add_months(date.fromisoformat(begin), months) == date.fromisoformat(end)


@pytest.mark.parametrize(
    ("months", "form"),
    # Regulation (EU) No 1169/2011, Annex X, 1 (c): 2, 12 and 24 months, and the edges.
    [(2, DAY), (3, DAY), (4, MONTH), (12, MONTH), (18, MONTH), (19, YEAR), (24, YEAR)],
)
def test_the_shortest_date_that_suffices_follows_from_the_shelf_life(
    months: int, form: DateForm
) -> None:
    assert least_form(Keeps(months=months)) is form


@pytest.mark.parametrize(
    ("days", "form"),
    # Our rule: the longest three months of the calendar have 92 days, the longest eighteen 550.
    [(1, DAY), (92, DAY), (93, MONTH), (550, MONTH), (551, YEAR)],
)
def test_a_shelf_life_in_days_is_dated_alike_whenever_it_begins(days: int, form: DateForm) -> None:
    assert least_form(Keeps(days=days)) is form


def test_without_a_shelf_life_any_form_suffices() -> None:
    assert least_form(Keeps()) is YEAR
    assert Keeps().after(IN_NOVEMBER) is None


@pytest.mark.parametrize(
    ("best_before", "form"),
    # Regulation (EU) No 1169/2011, Annex X, 1 (c), on bags of 30 November 2026.
    [
        ("2026-11-30", DAY), ("2027-02-28", DAY), ("2027-03-01", MONTH), ("2028-05-30", MONTH),
        ("2028-05-31", YEAR),
    ],
)  # fmt: skip
def test_a_date_by_word_needs_what_its_distance_needs(best_before: str, form: DateForm) -> None:
    packed_on = date(2026, 11, 30)

    assert least_form_between(packed_on, date.fromisoformat(best_before)) is form


@pytest.mark.parametrize(
    ("form", "words", "until", "alone"),
    # Annex X, 1 (a) and (b): "best before" with the day, "best before end" without. Directive
    # 2011/91/EU, article 5: a date with its day and month may serve as lot mark.
    [
        (DAY, "Best before 05 11 2027", "2027-11-05", True),
        (MONTH, "Best before end 11 2027", "2027-11-30", False),
        (YEAR, "Best before end 2027", "2027-12-31", False),
    ],
)
def test_a_date_says_as_much_as_its_form_and_covers_what_it_says(
    form: DateForm, words: str, until: str, alone: bool
) -> None:
    assert written(IN_NOVEMBER, form) == words
    assert covers_until(IN_NOVEMBER, form) == date.fromisoformat(until)
    assert serves_as_lot_mark(form) is alone


@pytest.mark.parametrize(
    ("form", "words"),
    # Regulation (EU) No 1169/2011, Annex X, 1 (a), in German (from memory), as Directive
    # 2000/13/EC, article 9 (2), had it before (read): "mindestens haltbar bis" with the day,
    # "mindestens haltbar bis Ende" without.
    [
        (DAY, "Mindestens haltbar bis 05.11.2027"),
        (MONTH, "Mindestens haltbar bis Ende 11/2027"),
        (YEAR, "Mindestens haltbar bis Ende 2027"),
    ],
)
def test_a_date_is_worded_in_german_as_the_law_has_it(form: DateForm, words: str) -> None:
    say = speech_in("de").gettext

    assert written(IN_NOVEMBER, form, say) == words


def test_the_end_of_february_is_the_one_of_that_year() -> None:
    assert covers_until(date(2028, 2, 1), MONTH) == date(2028, 2, 29)
    assert covers_until(date(2027, 2, 28), MONTH) == date(2027, 2, 28)


def test_the_stronger_form_says_more_of_the_date() -> None:
    assert stronger(MONTH, DAY) is DAY
    assert stronger(MONTH, YEAR) is MONTH
    assert not serves_as_lot_mark(None)
