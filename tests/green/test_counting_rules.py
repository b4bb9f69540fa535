"""What a count found, and the part that moisture explains."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.green.counting.rules import Event, Found, Moistures, explained_g, outdates, sums
from app.standards.moisture import half_up

DRIED = Moistures(Decimal(12), Decimal(9))


def found(counted_g: int | None, book_g: int, lot: str = "GL-1") -> Found:
    return Found(1, lot, counted_g, book_g)


def test_drying_explains_what_the_water_weighed() -> None:
    # FAO and ICO, Good hygiene practices along the coffee chain, Determination of moisture content:
    # 1000 kg at 12 % dried to 9 % weigh 967 kg; 967.03 computed from its formula.
    explained = explained_g(found(960_000, 1_000_000), DRIED)

    assert explained == Fraction(-3_000_000, 91)
    assert half_up((1_000_000 + explained) / 1000, 2) == Decimal("967.03")


def test_what_moisture_does_not_explain_remains() -> None:
    made = sums([found(960_000, 1_000_000)], {"GL-1": DRIED})

    assert (made.variance_g, made.explained_g, made.remaining_g) == (-40_000, -32_967, -7_033)


@pytest.mark.parametrize(
    ("line", "moistures"),
    [
        (found(1, 2), None),
        (found(None, 60_000), DRIED),  # what is gone did not dry
        (found(1, 2), Moistures(Decimal(12), Decimal(100))),
    ],
)
def test_nothing_is_explained_where_nothing_can_be(
    line: Found, moistures: Moistures | None
) -> None:
    assert explained_g(line, moistures) is None


def test_a_sack_that_was_not_found_is_missing_whole() -> None:
    assert found(None, 60_000).variance_g == -60_000
    assert found(0, 60_000).variance_g == -60_000


def test_a_sum_is_rounded_once_and_counts_what_is_known() -> None:
    lines = [found(1000, 1000)] * 3 + [found(None, 500), found(700, 600, "GL-2")]
    moistures = {"GL-1": Moistures(Decimal(12), Decimal("11.96"))}  # -0.4543 g each

    made = sums(lines, moistures)

    assert half_up(explained_g(lines[0], moistures["GL-1"]) or Fraction(0), 0) == 0
    assert (made.sacks, made.book_g, made.counted_g) == (5, 4100, 3700)
    assert (made.explained_g, made.remaining_g) == (-1, -399)


def test_where_no_lot_was_read_twice_nothing_is_known() -> None:
    made = sums([found(900, 1000)], {})

    assert (made.explained_g, made.remaining_g) == (None, None)


PCT = st.decimals(0, Decimal("99.999"), places=3)


@given(st.integers(1, 10**7), PCT, PCT)
def test_the_dry_matter_is_the_same_before_and_after(
    grams: int, first: Decimal, newest: Decimal
) -> None:
    explained = explained_g(found(grams, grams), Moistures(first, newest))

    assert explained is not None
    after = grams + explained
    assert after * (100 - Fraction(newest)) == grams * (100 - Fraction(first))


COUNTED = datetime(2026, 3, 10, 9, tzinfo=UTC)
LINE = 50


@pytest.mark.parametrize(
    ("booked", "taken_back", "hours", "is_count", "wrong"),
    [
        (40, None, -1, False, False),  # the line knew it
        (60, None, 1, False, False),  # drawn after counting
        (60, None, -1, False, True),  # drawn before, booked after
        (60, None, 0, False, True),
        (60, 70, -1, False, False),  # and taken back: as if it had never been
        (40, 45, -1, False, False),
        (40, 60, -1, False, True),  # the line was held against a draw that never was
        (40, 60, 1, False, False),  # which had no part in what the book had then
        (60, None, 1, True, True),  # another count corrected the book
        (40, None, -1, True, False),
        (40, None, 1, True, True),  # while the paper lay about
    ],
)
def test_a_line_is_wrong_once_the_book_of_its_time_was_corrected(
    booked: int, taken_back: int | None, hours: int, is_count: bool, wrong: bool
) -> None:
    event = Event(booked, taken_back, COUNTED + timedelta(hours=hours), is_count)

    assert outdates(event, LINE, COUNTED) is wrong
