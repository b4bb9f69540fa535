"""Verdicts by named standards: like with like, and never a pass by absence."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.standards.defects import DefectKind, Rounding, count, counted_elsewhere
from app.standards.grading import (
    ICO_ARABICA,
    ICO_ROBUSTA,
    SCA_WASHED_ARABICA,
    Found,
    Outcome,
    Species,
    Standard,
    Verdict,
    judge,
    older_classes,
    standards,
)

LIMITS = (5, 8, 23, 86)
OLDER = older_classes(LIMITS)

CLEAN = Found(
    sample_g=350,
    defects=count({}),
    quakers=0,
    quaker_sample_g=100,
    moisture_pct=Decimal(11),
    water_activity=Decimal("0.55"),
    species=Species.ARABICA,
)
"""A sample that meets the SCA standard."""


def full(category_1: int, category_2: int = 0) -> Found:
    return replace(CLEAN, defects=counted_elsewhere(category_1, category_2, "a trial"))


def floor(standard: Standard, found: Found) -> Verdict:
    return judge(standard, found, Rounding.FLOOR)


def outcome_of(verdict: Verdict, name: str) -> Outcome:
    return next(check.outcome for check in verdict.checks if check.name == name)


def test_a_clean_sample_meets_the_specialty_grade() -> None:
    verdict = floor(SCA_WASHED_ARABICA, CLEAN)

    assert verdict.outcome is Outcome.MEETS
    assert {check.outcome for check in verdict.checks} == {Outcome.MEETS}


@pytest.mark.parametrize(
    ("category_1", "category_2", "outcome"),
    # SCA, Washed arabica green coffee defect poster (2018): none of category 1, 5 of category 2.
    [(0, 5, "meets"), (0, 6, "misses"), (1, 0, "misses"), (1, 5, "misses")],
)
def test_specialty_allows_no_serious_defect_and_five_lesser_ones(
    category_1: int, category_2: int, outcome: str
) -> None:
    assert floor(SCA_WASHED_ARABICA, full(category_1, category_2)).outcome == outcome


def test_one_full_black_bean_fails_the_specialty_grade() -> None:
    # SCA, Washed arabica green coffee defect poster (2018).
    verdict = floor(SCA_WASHED_ARABICA, replace(CLEAN, defects=count({DefectKind.FULL_BLACK: 1})))

    assert verdict.outcome is Outcome.MISSES
    assert outcome_of(verdict, "category 1") is Outcome.MISSES
    assert outcome_of(verdict, "category 2") is Outcome.MEETS


def test_the_rounding_decides_a_count_that_is_mostly_leftovers() -> None:
    # Equivalents: SCA, Washed arabica green coffee defect poster (2018); rounding from memory.
    beans = {
        DefectKind.PARTIAL_BLACK: 4, DefectKind.PARTIAL_SOUR: 2, DefectKind.BROKEN: 12,
        DefectKind.FLOATER: 3, DefectKind.SLIGHT_INSECT: 14,
    }  # fmt: skip
    found = replace(CLEAN, defects=count(beans))

    assert judge(SCA_WASHED_ARABICA, found, Rounding.FLOOR).outcome is Outcome.MEETS
    assert judge(SCA_WASHED_ARABICA, found, Rounding.EXACT).outcome is Outcome.MISSES


@pytest.mark.parametrize(
    ("standard", "species", "most"),
    # ICO Resolution 420 (21 May 2004); ITC Coffee Guide, ICO minimum export standards.
    [(ICO_ARABICA, Species.ARABICA, 86), (ICO_ROBUSTA, Species.ROBUSTA, 150)],
)
def test_the_ico_target_is_met_up_to_its_most_and_not_one_more(
    standard: Standard, species: Species, most: int
) -> None:
    in_300_g = replace(full(0, most), sample_g=300, species=species)
    one_more = replace(full(1, most), sample_g=300, species=species)

    assert floor(standard, in_300_g).outcome is Outcome.MEETS
    assert floor(standard, one_more).outcome is Outcome.MISSES


@pytest.mark.parametrize(
    ("moisture", "sca", "ico"),
    # SCA poster (2018): 10 to 12 % on import. ICO Resolution 420: 8.0 to 12.5 %. Ends included.
    [
        ("7.9", "misses", "misses"),
        ("8.0", "misses", "meets"),
        ("9.9", "misses", "meets"),
        ("10.0", "meets", "meets"),
        ("12.0", "meets", "meets"),
        ("12.1", "misses", "meets"),
        ("12.5", "misses", "meets"),
        ("12.6", "misses", "misses"),
        (None, "unknown", "unknown"),
    ],
)
def test_moisture_is_held_against_the_range_of_each_standard(
    moisture: str | None, sca: str, ico: str
) -> None:
    found = replace(CLEAN, moisture_pct=Decimal(moisture) if moisture else None)

    assert floor(SCA_WASHED_ARABICA, found).outcome == sca
    assert floor(ICO_ARABICA, replace(found, sample_g=300)).outcome == ico


@pytest.mark.parametrize(
    ("value", "outcome"),
    # SCA, Washed arabica green coffee defect poster (2018): below 0.70.
    [("0.69", "meets"), ("0.699", "meets"), ("0.70", "misses"), (None, "unknown")],
)
def test_water_activity_must_stay_below_its_limit(value: str | None, outcome: str) -> None:
    found = replace(CLEAN, water_activity=Decimal(value) if value else None)

    assert floor(SCA_WASHED_ARABICA, found).outcome == outcome


@pytest.mark.parametrize(
    ("quakers", "counted_g", "outcome"),
    # SCA, Washed arabica green coffee defect poster (2018): 0 in 100 g roasted.
    [
        (0, 100, "meets"),
        (1, 100, "misses"),
        (0, 50, "unknown"),
        (3, 50, "unknown"),
        (0, None, "unknown"),
        (None, None, "unknown"),
    ],
)
def test_quakers_are_judged_in_a_hundred_grams_alone(
    quakers: int | None, counted_g: int | None, outcome: str
) -> None:
    found = replace(CLEAN, quakers=quakers, quaker_sample_g=counted_g)

    assert outcome_of(floor(SCA_WASHED_ARABICA, found), "quakers") == outcome


@pytest.mark.parametrize("sample_g", [300, 349, 351])
def test_a_count_of_another_sample_mass_is_not_judged(sample_g: int) -> None:
    verdict = floor(SCA_WASHED_ARABICA, replace(CLEAN, sample_g=sample_g))

    assert verdict.outcome is Outcome.NOT_JUDGED
    assert [check.detail for check in verdict.checks] == [
        f"not judged: sample mass differs; counted in {sample_g} g, the rule is for 350 g"
    ]


def test_a_count_of_350_g_is_judged_by_no_rule_of_300_g() -> None:
    judged = {each.code: floor(each, full(1, 99)).outcome for each in standards(LIMITS)}

    assert judged == {
        "sca_washed_arabica": "misses",
        "ico_420_arabica": "not_judged",
        "ico_420_robusta": "not_judged",
        "older_classes_300g": "not_judged",
    }


def test_a_rule_for_one_species_does_not_judge_the_other() -> None:
    robusta = replace(full(0, 100), sample_g=300, species=Species.ROBUSTA)

    assert floor(ICO_ROBUSTA, robusta).outcome is Outcome.MEETS
    assert floor(ICO_ARABICA, robusta).outcome is Outcome.NOT_JUDGED
    assert floor(SCA_WASHED_ARABICA, replace(robusta, sample_g=350)).outcome is Outcome.NOT_JUDGED


def test_an_unknown_species_never_passes_and_can_still_fail() -> None:
    assert floor(SCA_WASHED_ARABICA, replace(CLEAN, species=None)).outcome is Outcome.UNKNOWN
    assert floor(SCA_WASHED_ARABICA, replace(full(1), species=None)).outcome is Outcome.MISSES


def test_what_was_not_counted_is_unknown() -> None:
    uncounted = replace(CLEAN, defects=None)

    assert floor(SCA_WASHED_ARABICA, uncounted).outcome is Outcome.UNKNOWN
    assert floor(ICO_ARABICA, replace(uncounted, sample_g=300)).outcome is Outcome.UNKNOWN
    assert floor(OLDER, replace(uncounted, sample_g=300)).outcome is Outcome.UNKNOWN


def test_a_miss_outweighs_what_is_unknown() -> None:
    found = replace(full(1), moisture_pct=None)

    assert floor(SCA_WASHED_ARABICA, found).outcome is Outcome.MISSES


@pytest.mark.parametrize(
    ("category_1", "category_2", "grade"),
    # FAO document x6939e, Annex 7: 300 g, specialty up to 5 and none of category 1, premium up
    # to 8, exchange 9 to 23. The bands above: from memory.
    [
        (0, 0, "specialty"),
        (0, 5, "specialty"),
        (1, 0, "premium"),
        (0, 6, "premium"),
        (3, 5, "premium"),
        (0, 9, "exchange"),
        (10, 13, "exchange"),
        (0, 24, "below standard"),
        (0, 86, "below standard"),
        (0, 87, "off grade"),
    ],
)
def test_the_older_classes_of_300_g(category_1: int, category_2: int, grade: str) -> None:
    verdict = floor(OLDER, replace(full(category_1, category_2), sample_g=300))

    assert (verdict.outcome, verdict.grade) == (Outcome.CLASSED, grade)


def test_a_part_of_a_defect_falls_into_the_next_class() -> None:
    # 8 full defects are premium, 8.2 are not.
    found = replace(CLEAN, sample_g=300, defects=count({DefectKind.SHELL: 41}))

    assert judge(OLDER, found, Rounding.FLOOR).grade == "premium"
    assert judge(OLDER, found, Rounding.EXACT).grade == "exchange"


def test_the_bands_from_memory_are_the_roastery_s_to_set() -> None:
    found = replace(full(0, 24), sample_g=300)

    assert floor(older_classes((5, 8, 24, 90)), found).grade == "exchange"
