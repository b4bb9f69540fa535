"""Cupping forms are added up exactly, on their own form."""

from collections.abc import Mapping
from decimal import Decimal

import pytest

from app.standards.cupping_forms import (
    CLASSIC,
    Cup,
    OffTaste,
    add_up,
    flaws,
    known_form,
    on_step,
    reaches_the_line,
    same_form,
)

COSTS = {OffTaste.TAINT: 2, OffTaste.FAULT: 4}
"""What an off-taste costs a cup: from memory, therefore a setting."""
SOUND = Cup(frozenset(CLASSIC.cup_sections))


def sevens(points: str) -> dict[str, Decimal]:
    return dict.fromkeys(CLASSIC.sections, Decimal(points))


def test_seven_sections_of_seven_and_a_half_and_three_full_ones_make_82_50() -> None:
    # Form: lesson on the arabica cupping form, baristahustle.com.
    points = add_up(CLASSIC, sevens("7.50"), [SOUND] * 5, COSTS)

    assert len(CLASSIC.sections) == 7
    assert points.sections == Decimal("52.5")
    assert points.cups == 30
    assert points.deduction == 0
    assert points.score == Decimal("82.50")
    assert reaches_the_line(points.score)


def test_two_tainted_cups_cost_four_points_and_the_specialty_line() -> None:
    # Deduction of 2 for a tainted cup: from memory. The line of 80.00: Scientific Reports,
    # article s41598-022-06676-9.
    tainted = Cup(SOUND.has, OffTaste.TAINT)
    points = add_up(CLASSIC, sevens("7.50"), [tainted] * 2 + [SOUND] * 3, COSTS)

    assert points.score == Decimal("78.50")
    assert not reaches_the_line(points.score)


def test_a_faulty_cup_costs_twice_a_tainted_one() -> None:
    # From memory.
    cups = [Cup(SOUND.has, OffTaste.FAULT), Cup(SOUND.has, OffTaste.TAINT)] + [SOUND] * 3

    assert add_up(CLASSIC, sevens("8"), cups, COSTS).deduction == 6


def test_a_cup_that_lacks_sweetness_costs_its_points_there_alone() -> None:
    dull = Cup(SOUND.has - {"sweetness"})

    assert add_up(CLASSIC, sevens("8"), [dull] + [SOUND] * 4, COSTS).cups == 28


@pytest.mark.parametrize(
    ("score", "reached"), [("79.99", False), ("79.75", False), ("80.00", True), ("80", True)]
)
def test_the_specialty_line_is_reached_at_80(score: str, *, reached: bool) -> None:
    assert reaches_the_line(Decimal(score)) is reached


@pytest.mark.parametrize("points", ["6", "6.25", "9.75", "10", "10.00"])
def test_a_section_runs_from_6_to_10_in_quarters(points: str) -> None:
    assert list(flaws(CLASSIC, sevens(points), [SOUND] * 5)) == []


@pytest.mark.parametrize("points", ["5.75", "5.99", "7.1", "7.251", "10.25"])
def test_a_section_off_its_scale_or_between_the_steps_is_a_flaw(points: str) -> None:
    sections = sevens("7") | {"body": Decimal(points)}

    [flaw] = flaws(CLASSIC, sections, [SOUND] * 5)

    assert flaw.where == ("sections", "body")
    assert points in flaw.why


@pytest.mark.parametrize(
    ("sections", "cups", "where"),
    [
        ({k: v for k, v in sevens("7").items() if k != "body"}, 5, ("sections",)),
        (sevens("7") | {"crema": Decimal(7)}, 5, ("sections", "crema")),
        (sevens("7"), 4, ("cups",)),
        (sevens("7"), 6, ("cups",)),
    ],
)
def test_a_form_that_is_not_filled_in_is_a_flaw(
    sections: Mapping[str, Decimal], cups: int, where: tuple[str, ...]
) -> None:
    assert [flaw.where for flaw in flaws(CLASSIC, sections, [SOUND] * cups)] == [where]


def test_a_form_is_known_by_name_and_version_whatever_the_capitals() -> None:
    assert known_form("SCA-Arabica", "Classic") is CLASSIC
    assert known_form("sca-arabica", "2023") is None
    assert known_form("house form", "classic") is None
    assert same_form(("House", "1"), (" house ", "1"))
    assert not same_form(("house", "1"), ("house", "2"))


def test_scores_stand_on_quarters() -> None:
    assert on_step(Decimal("82.50"))
    assert not on_step(Decimal("82.6"))
