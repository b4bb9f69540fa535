"""Choosing sacks: part sacks first, then the oldest crop, the oldest arrival, the lowest number."""

from datetime import UTC, datetime, timedelta
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.green.picking.rules import Choice, LeftOut, in_order, suggest, why_left_out
from app.standards.crop_years import crop_years

DAY = datetime(2026, 3, 2, tzinfo=UTC)


def sack(
    code: str, *, left_g: int = 60_000, crop: str | None = "2025", days: int = 0, number: int = 1,
    drawn: bool = False, voided: bool = False, held: bool = False, external: bool = False,
) -> Choice:  # fmt: skip
    return Choice(
        id=len(code), code=code, lot="GL-1", number=number, place_id=None, place=None,
        left_g=left_g, drawn=drawn, crop=crop_years(crop) if crop else None,
        arrived_at=DAY + timedelta(days=days), voided=voided, held=held, external=external,
    )  # fmt: skip


IN_ORDER = [
    # First expired, first out within a family of lots: our own rule. Crop years as they are
    # printed; one that nobody knows comes last.
    sack("PART-UNKNOWN-CROP-BUT-PART", left_g=59_999, drawn=True, crop=None),
    sack("OLD-CROP", crop="2023/24", days=9, number=7),
    sack("OLDER-ARRIVAL", crop="2024", days=1, number=9),
    sack("LOW-NUMBER", crop="2024", days=2, number=2),
    sack("HIGH-NUMBER", crop="2024", days=2, number=10),
    sack("SPLIT-CROP", crop="2024/25", days=0),
    sack("NEW-CROP", crop="2025/26", days=0),
    sack("NO-CROP", crop=None, days=0),
    sack("NO-CROP-THAT-IS-A-YEAR", crop="May to July", days=1),
]


@pytest.mark.parametrize("first", range(len(IN_ORDER) - 1))
def test_each_sack_comes_before_the_next_however_they_are_given(first: int) -> None:
    pair = IN_ORDER[first : first + 2]

    for given_so in permutations(pair):
        assert in_order(given_so) == pair


def test_all_of_them_are_put_in_order() -> None:
    assert in_order(reversed(IN_ORDER)) == IN_ORDER


def test_among_part_sacks_the_oldest_crop_comes_first() -> None:
    new = sack("N", left_g=1, drawn=True, crop="2025")
    old = sack("OLD", left_g=50_000, drawn=True, crop="2024")

    assert in_order([new, old]) == [old, new]


def test_a_sack_that_was_sampled_or_corrected_is_no_part_sack() -> None:
    whole, sampled = sack("WHOLE", number=1), sack("SAMPLED", left_g=59_850, number=2)

    assert in_order([sampled, whole]) == [whole, sampled]


@pytest.mark.parametrize(
    ("left_out", "why"),
    [
        (sack("V", voided=True, left_g=0, held=True), LeftOut.VOIDED),
        (sack("E", left_g=0, held=True), LeftOut.EMPTY),
        (sack("H", held=True, external=True), LeftOut.HELD),
        (sack("X", external=True), LeftOut.EXTERNAL),
        (sack("L", left_g=1), None),
    ],
)
def test_what_cannot_be_drawn_from_says_why(left_out: Choice, why: LeftOut | None) -> None:
    assert why_left_out(left_out) == why
    assert bool(suggest([left_out], 1)) is (why is None)


def test_each_sack_is_drawn_to_its_bottom_before_the_next() -> None:
    part, one, other = sack("P", left_g=12_000), sack("ONE", number=1), sack("OTHER", number=2)

    drawn = [(draw.sack.code, draw.grams) for draw in suggest([other, one, part], 80_000)]

    assert drawn == [("P", 12_000), ("ONE", 60_000), ("OTHER", 8_000)]


@given(
    st.lists(st.tuples(st.integers(0, 60_000), st.booleans()), max_size=8),
    st.integers(1, 400_000),
)
def test_a_suggestion_gives_what_was_asked_or_all_there_is(
    sacks: list[tuple[int, bool]], grams: int
) -> None:
    choices = [
        sack("S" * i, left_g=left_g, held=held, number=i)
        for i, (left_g, held) in enumerate(sacks, 1)
    ]
    there_g = sum(left_g for left_g, held in sacks if not held)

    draws = suggest(choices, grams)

    assert sum(draw.grams for draw in draws) == min(grams, there_g)
    assert all(0 < draw.grams <= draw.sack.left_g and not draw.sack.held for draw in draws)
    assert all(draw.grams == draw.sack.left_g for draw in draws[:-1])
