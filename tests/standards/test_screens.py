"""Screen analysis: sizes of holes, and labels that follow from what rests where."""

from decimal import ROUND_HALF_UP, Decimal

import pytest

from app.standards.screens import Series, hole_mm, lines, off_by


def d(text: str) -> Decimal:
    return Decimal(text)


@pytest.mark.parametrize(
    ("screen", "printed"),
    # Screen n has round holes of n/64 inch: rowstercoffee.com, coffee 101, screen sizes.
    [
        (20, "7.938"), (18, "7.144"), (17, "6.747"), (16, "6.350"),
        (15, "5.953"), (14, "5.556"), (13, "5.159"), (12, "4.763"),
    ],
)  # fmt: skip
def test_a_screen_is_so_many_64ths_of_an_inch(screen: int, printed: str) -> None:
    exact = hole_mm(Decimal(screen))

    assert exact * 64 == screen * d("25.4")
    assert exact.quantize(d("0.001"), ROUND_HALF_UP) == d(printed)


def test_screen_12_is_exact_before_it_is_rounded() -> None:
    assert hole_mm(Decimal(12)) == d("4.7625")


def test_what_passed_the_next_screen_and_rests_on_this_one_has_its_name() -> None:
    # "Screen 14" passed 15 and rests on 14, "17 up" rests on 17 or larger: from memory.
    analysis = lines({
        d("16"): d("30"), d("18"): d("12.5"), d("17"): d("47.5"), None: d("10"),
    })  # fmt: skip

    assert [(line.label, line.retained_pct) for line in analysis] == [
        ("screen 18 up", d("12.5")),
        ("screen 17", d("47.5")),
        ("screen 16", d("30")),
        ("pan", d("10")),
    ]
    assert [(line.up_label, line.up_pct) for line in analysis] == [
        ("18 up", d("12.5")),
        ("17 up", d("60")),
        ("16 up", d("90")),
        (None, None),
    ]


def test_a_screen_that_was_left_out_cannot_be_told_from_its_neighbour() -> None:
    labels = [line.label for line in lines({d("18"): d("50"), d("15"): d("50")})]

    assert labels == ["screen 18 up", "screens 15 to 17"]


def test_metric_sieves_are_not_turned_into_screens() -> None:
    analysis = lines({d("7.10"): d("40"), d("6.30"): d("60")}, Series.MM)

    assert [line.hole_mm for line in analysis] == [d("7.10"), d("6.30")]
    assert [line.label for line in analysis] == [
        "screen 7.10 mm up", "screen 6.30 mm, below 7.10 mm",
    ]  # fmt: skip
    assert [line.up_label for line in analysis] == ["7.10 mm up", "6.30 mm up"]


def test_an_analysis_says_how_far_it_is_from_a_hundred() -> None:
    assert off_by({d("18"): d("60"), None: d("39.5")}) == d("-0.5")
    assert off_by({d("18"): d("60"), d("17"): d("40.25")}) == d("0.25")
