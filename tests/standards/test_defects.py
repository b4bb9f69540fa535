"""Full defects out of faulty beans, rounded down kind by kind and exactly."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.defects import (
    CATEGORY_1,
    CATEGORY_2,
    DefectKind,
    Rounding,
    Tally,
    count,
    counted_elsewhere,
    figure,
)


def whole(number: int) -> Tally:
    """A tally in which nothing is left over."""
    return Tally(number, Fraction(number))


def test_leftovers_do_not_count_when_rounded_down_and_count_as_parts_when_exact() -> None:
    # Equivalents: SCA, Washed arabica green coffee defect poster (2018).
    # Rounding down kind by kind: from memory. The figures: our arithmetic.
    counted = count({
        DefectKind.PARTIAL_BLACK: 4, DefectKind.PARTIAL_SOUR: 2, DefectKind.BROKEN: 12,
        DefectKind.FLOATER: 3, DefectKind.SLIGHT_INSECT: 14,
    })  # fmt: skip

    assert counted.lines is not None
    assert {line.kind: line.full.floor for line in counted.lines} == {
        "partial_black": 1, "partial_sour": 0, "broken": 2, "floater": 0, "slight_insect": 1,
    }  # fmt: skip
    assert counted.category_2.by(Rounding.FLOOR) == 4
    assert counted.category_2.by(Rounding.EXACT) == Fraction(32, 5)
    assert figure(counted.category_2.exact) == Decimal("6.4")
    assert counted.category_1 == whole(0)
    assert counted.total == counted.category_2


@pytest.mark.parametrize(
    ("kind", "equivalent", "category"),
    # SCA, Washed arabica green coffee defect poster (2018).
    [
        (DefectKind.PARTIAL_BLACK, 3, 2),
        (DefectKind.PARCHMENT, 5, 2),
        (DefectKind.SLIGHT_INSECT, 10, 2),
        (DefectKind.SEVERE_INSECT, 5, 1),
        (DefectKind.FULL_BLACK, 1, 1),
        (DefectKind.FULL_SOUR, 1, 1),
        (DefectKind.DRIED_CHERRY, 1, 1),
        (DefectKind.FUNGUS, 1, 1),
        (DefectKind.FOREIGN_MATTER, 1, 1),
        (DefectKind.PARTIAL_SOUR, 3, 2),
        (DefectKind.FLOATER, 5, 2),
        (DefectKind.IMMATURE, 5, 2),
        (DefectKind.WITHERED, 5, 2),
        (DefectKind.SHELL, 5, 2),
        (DefectKind.BROKEN, 5, 2),
        (DefectKind.HULL, 5, 2),
    ],
)
def test_so_many_faulty_beans_make_one_full_defect(
    kind: DefectKind, equivalent: int, category: int
) -> None:
    counted = count({kind: equivalent})

    both = {1: counted.category_1, 2: counted.category_2}
    assert both[category] == whole(1)
    assert both[3 - category] == whole(0)
    assert counted.total == whole(1)
    assert count({kind: equivalent - 1}).total.floor == 0


def test_every_kind_stands_in_one_category() -> None:
    assert CATEGORY_1.keys() | CATEGORY_2.keys() == set(DefectKind)
    assert not CATEGORY_1.keys() & CATEGORY_2.keys()


def test_a_sample_without_a_defect_has_none_by_either_rounding() -> None:
    counted = count({})

    assert counted.total == whole(0)
    assert counted.lines == ()


def test_full_defects_that_somebody_else_counted_are_taken_over() -> None:
    counted = counted_elsewhere(1, 4, "the exporter's own table")

    assert (counted.category_1, counted.category_2) == (whole(1), whole(4))
    assert counted.total == whole(5)
    assert counted.lines is None
    assert counted.table == "the exporter's own table"


@given(st.dictionaries(st.sampled_from(DefectKind), st.integers(0, 3000)))
def test_rounding_down_never_counts_more_and_loses_less_than_one_a_kind(
    beans: dict[DefectKind, int],
) -> None:
    total = count(beans).total

    assert total.floor <= total.exact
    assert total.exact - total.floor < max(1, len(beans))


@given(st.integers(0, 300_000), st.integers(0, 300_000))
def test_figures_of_three_places_keep_two_tallies_apart(one: int, other: int) -> None:
    # Tallies are thirtieths: 3, 5 and 10 divide 30.
    assert (figure(Fraction(one, 30)) < figure(Fraction(other, 30))) is (one < other)


def test_a_figure_is_written_without_an_exponent() -> None:
    assert [str(figure(Fraction(each))) for each in (0, 10, 100)] == ["0", "10", "100"]
    assert str(figure(Fraction(4, 3))) == "1.333"
