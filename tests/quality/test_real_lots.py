"""A trial with 900 lots as graders typed them; the figures stand beside the data.

Source of rows and figures: the open part of the shared reference data, `lots.csv` and its
`EXPECTED.json`.
"""

import re
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.standards.cupping_forms import reaches_the_line
from app.standards.defects import Rounding
from app.standards.grading import (
    ICO_ARABICA,
    SCA_WASHED_ARABICA,
    Found,
    Outcome,
    Verdict,
    check_moisture,
    judge,
)
from tests.api import Api
from tests.makers import furnish
from tests.quality.green_lots import (
    QUAKER_SAMPLE_G,
    SAMPLE_G,
    TASTERS,
    GradedLot,
    accepted_lots,
    expected,
    graded_lots,
)


@pytest.fixture(scope="module")
def lots(shared: Path) -> list[GradedLot]:
    return graded_lots(shared)


@pytest.fixture(scope="module")
def figures(shared: Path) -> dict[str, Any]:
    return expected(shared)


def sca(lot: GradedLot) -> Verdict:
    """Judge as the SCA standard does, whatever the species: the figures count both."""
    found = lot.found()
    any_species = Found(**(vars(found) | {"species": SCA_WASHED_ARABICA.species}))
    return judge(SCA_WASHED_ARABICA, any_species, Rounding.FLOOR)


def meets(verdict: Verdict, *names: str) -> bool:
    outcomes = {check.name: check.outcome for check in verdict.checks}
    return all(outcomes[name] is Outcome.MEETS for name in names)


def moisture_outcome(lot: GradedLot) -> Outcome:
    assert ICO_ARABICA.moisture_pct is not None
    return check_moisture(lot.measured_moisture_pct, ICO_ARABICA.moisture_pct).outcome


def test_every_row_is_read(lots: list[GradedLot], figures: dict[str, Any]) -> None:
    grading = figures["green_grading"]

    assert len(lots) == figures["rows"]
    assert Counter(lot.species.capitalize() for lot in lots) == figures["rows_by_species"]
    assert [lot.quakers for lot in lots].count(None) == grading["unreadable"]["quakers"]
    assert None not in [lot.category_1 for lot in lots]
    assert None not in [lot.category_2 for lot in lots]
    assert sum(lot.category_1 or 0 for lot in lots) == grading["category_one_sum"]
    assert sum(lot.category_2 or 0 for lot in lots) == grading["category_two_sum"]
    assert sum(lot.quakers or 0 for lot in lots) == grading["quakers_sum"]


def test_defects_and_quakers_are_judged_as_the_figures_say(
    lots: list[GradedLot], figures: dict[str, Any]
) -> None:
    grading = figures["green_grading"]
    verdicts = [(lot, sca(lot)) for lot in lots]
    no_serious = [each for each in verdicts if meets(each[1], "category 1")]
    few = [each for each in no_serious if meets(each[1], "category 2")]
    no_quakers = [each for each in few if meets(each[1], "quakers")]
    specialty = [lot for lot, _ in no_quakers if lot.score and reaches_the_line(lot.score)]
    in_band = [lot for lot in specialty if moisture_outcome(lot) is Outcome.MEETS]

    assert len(no_serious) == grading["rows_category_one_0"]
    assert len(few) == grading["rows_category_one_0_and_category_two_at_most_5"]
    assert len(no_quakers) == grading["and_quakers_0"]
    assert len(specialty) == grading["and_quakers_0_and_score_at_least_80"]
    assert len(in_band) == grading["and_quakers_0_and_score_at_least_80_and_moisture_8_to_12.5"]


def test_quakers_that_nobody_can_read_are_unknown_and_no_pass(lots: list[GradedLot]) -> None:
    [unreadable] = [lot for lot in lots if lot.quakers is None]

    assert not meets(sca(unreadable), "quakers")


def test_nothing_that_lacks_a_reading_passes_a_whole_standard(lots: list[GradedLot]) -> None:
    # No row has a water activity, and the SCA standard asks for one.
    assert {sca(lot).outcome for lot in lots} == {Outcome.UNKNOWN, Outcome.MISSES}


def test_moisture_falls_into_its_bands(lots: list[GradedLot], figures: dict[str, Any]) -> None:
    moisture = figures["moisture_percent"]
    low, high = Decimal(8), Decimal("12.5")
    outcomes = {lot.row_id: moisture_outcome(lot) for lot in lots}
    out = [lot for lot in lots if outcomes[lot.row_id] is Outcome.MISSES]

    assert Counter(outcomes.values()) == {
        Outcome.MEETS: moisture["rows_by_band"]["in_8_to_12.5"],
        Outcome.UNKNOWN: moisture["rows_by_band"]["zero"],
        Outcome.MISSES: moisture["rows_by_band"]["above_12.5"]
        + moisture["rows_by_band"]["below_8"],
    }
    assert [lot.row_id for lot in out if lot.moisture_pct and lot.moisture_pct > high] == (
        moisture["rows_above_12.5"]
    )
    assert [lot.row_id for lot in out if lot.moisture_pct and lot.moisture_pct < low] == (
        moisture["rows_above_zero_below_8"]
    )


def test_scores_reach_the_line_as_the_figures_say(
    lots: list[GradedLot], figures: dict[str, Any]
) -> None:
    grading = figures["green_grading"]
    scores = {lot.row_id: lot.score for lot in lots if lot.score is not None}

    assert len(scores) == figures["rows"]
    assert sum(scores.values()) == Decimal(grading["score_sum"])
    assert min(scores.values()) == Decimal(grading["score_min"])
    assert max(scores.values()) == Decimal(grading["score_max"])
    assert [row for row, score in scores.items() if score == 0] == grading["score_zero_rows"]
    assert (
        sum(reaches_the_line(score) for score in scores.values())
        == grading["rows_score_at_least_80"]
    )


def mark_class(mark: str) -> str:
    """Class an ICO mark by the rules that stand beside the data, tried in their order."""
    tidy = mark.strip()
    groups = [group.strip() for group in re.split(r"[/-]", tidy)]
    if not tidy:
        return "blank"
    if re.fullmatch(r"[0-9]{3}/[0-9]{4}/[0-9]{4}", mark):  # exactly: no space at the edges
        return "exact_NNN/NNNN/NNNN"
    if all(re.fullmatch(r"[0-9]+", group) for group in groups):
        return _class_of_digits([len(group) for group in groups])
    return "other_text"


def _class_of_digits(lengths: list[int]) -> str:
    match lengths:
        case [country, exporter, serial] if country <= 3 and exporter <= 4 and serial <= 4:
            return "three_groups_repairable"
        case [country, exporter, 5] if country <= 3 and exporter <= 4:
            return "three_groups_five_digit_serial"
        case [_, _, _]:
            return "three_groups_too_long"
        case [_, _]:
            return "two_groups"
        case [_]:
            return "digits_only"
    return "other_text"


def test_ico_marks_fall_into_their_classes(lots: list[GradedLot], figures: dict[str, Any]) -> None:
    classes = {lot.row_id: mark_class(lot.ico_number) for lot in lots}

    assert Counter(classes.values()) == figures["ico_number"]["rows_by_class"]
    assert [row for row, name in classes.items() if name == "three_groups_too_long"] == list(
        figures["ico_number"]["three_groups_too_long_rows"]
    )


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_accepted_lots_are_graded_through_the_book_as_by_the_rules_alone(
    api: Api, shared: Path, book_is_sound: Callable[[], None]
) -> None:
    lots = accepted_lots(shared)[::3]
    furnish(api)
    _receive(api, lots)

    assert len(lots) == 154
    for lot in lots:
        graded = api.post(f"/lots/{lot.row_id}/gradings", _grading(lot))
        verdicts = {each["standard"]: each["outcome"] for each in graded["verdicts"]}
        by_rule = judge(SCA_WASHED_ARABICA, lot.found(), Rounding.FLOOR)
        assert verdicts["sca_washed_arabica"] == by_rule.outcome, lot
        assert graded["moisture"]["value"] == lot.moisture_pct
        cupped = api.post(f"/lots/{lot.row_id}/cuppings", _cupping(lot))
        assert cupped["score"] == lot.score
    book_is_sound()


def _receive(api: Api, lots: list[GradedLot]) -> None:
    arrived = [
        {
            "code": lot.row_id, "name": lot.row_id, "origin": "ET",
            "moisture_pct": lot.moisture_pct, "sacks": [{"net_kg": 60}],
        }
        for lot in lots
    ]  # fmt: skip
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": arrived,
        },
    )


def _grading(lot: GradedLot) -> dict[str, Any]:
    return {
        "sample_g": SAMPLE_G, "species": lot.species, "quakers": lot.quakers,
        "quaker_sample_g": None if lot.quakers is None else QUAKER_SAMPLE_G,
        "colour": lot.colour or None,
        "full_defects": {
            "category_1": lot.category_1, "category_2": lot.category_2, "table": "as typed",
        },
    }  # fmt: skip


def _cupping(lot: GradedLot) -> dict[str, Any]:
    return {
        "form": "certificate", "form_version": "as printed", "score": lot.score,
        "tasters": TASTERS,
    }  # fmt: skip
