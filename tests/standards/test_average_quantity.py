"""The average system: tolerable errors, plans, and the test of the mean."""

from decimal import Decimal
from fractions import Fraction
from math import isqrt
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.average_quantity import (
    Check,
    Finding,
    Limits,
    Plan,
    Step,
    judge,
    limits,
    plan,
    scale_error_g,
    tolerable_error_g,
)

SOUND_MG = 251_000


def mg(grams: str) -> list[int]:
    return [int(Decimal(each) * 1000) for each in grams.split()]


def with_defectives(count: int, defective: int, nominal_g: int = 250) -> list[int]:
    """So many bags, the first ones below T1 and not below T2, the rest full enough for the mean."""
    short = limits(nominal_g, Check.DOUBLE).t1_mg - 1
    full = nominal_g * 1000 + 5_000
    return [short] * defective + [full] * (count - defective)


def contents(check: Check, batch: int, weights_mg: list[int]) -> Finding:
    return judge(plan(check, batch), limits(250, check), weights_mg).contents


@pytest.mark.parametrize(
    ("nominal_g", "error_g"),
    # Directive 76/211/EEC, Annex I 2.4, and the UK government's guide "Packaged goods"; a share is
    # rounded up to a tenth of a gram.
    [
        (50, "4.5"), (75, "4.5"), (100, "4.5"), (125, "5.7"), (200, "9"), (227, "9"), (250, "9"),
        (300, "9"), (340, "10.2"), (350, "10.5"), (454, "13.7"), (500, "15"), (1_000, "15"),
        (2_500, "37.5"), (15_000, "150"),
    ],
)  # fmt: skip
def test_the_tolerable_error_is_that_of_the_directive(nominal_g: int, error_g: str) -> None:
    assert tolerable_error_g(nominal_g) == Decimal(error_g)


@pytest.mark.parametrize("edge_g", [50, 100, 200, 300, 500, 1_000, 10_000, 15_000])
def test_at_an_edge_both_bands_say_the_same(edge_g: int) -> None:
    # Pure arithmetic on the bands of Annex I 2.4.
    assert tolerable_error_g(edge_g + 1) - tolerable_error_g(edge_g) <= Decimal("0.1")
    assert tolerable_error_g(edge_g) - tolerable_error_g(edge_g - 1) <= Decimal("0.1")


@pytest.mark.parametrize("nominal_g", [4, 25_001])
def test_outside_the_system_there_is_no_tolerable_error(nominal_g: int) -> None:
    with pytest.raises(ValueError, match="covers 5 to 25000 g"):
        tolerable_error_g(nominal_g)


def test_above_fifteen_kilograms_a_hundredth_is_tolerated() -> None:
    assert tolerable_error_g(25_000) == 250
    assert tolerable_error_g(15_001) == Decimal("150.1")
    assert tolerable_error_g(5) == Decimal("0.5")


@pytest.mark.parametrize(
    ("nominal_g", "t1_g", "t2_g"),
    # UK government, "Packaged goods": the rules; the figures are computed from them.
    [
        (125, "119.3", "113.6"), (250, "241", "232"), (340, "329.8", "319.6"), (500, "485", "470"),
        (1_000, "985", "970"),
    ],
)  # fmt: skip
def test_t1_and_t2_are_one_and_two_errors_below_nominal(
    nominal_g: int, t1_g: str, t2_g: str
) -> None:
    found = limits(nominal_g, Check.DOUBLE)

    assert (found.t1_mg, found.t2_mg) == (int(Decimal(t1_g) * 1000), int(Decimal(t2_g) * 1000))


@pytest.mark.parametrize(
    ("batch", "first", "finding"),
    # Directive 76/211/EEC, Annex II 2.2.1.
    [
        (400, 0, "accepted"), (400, 1, "accepted"), (400, 2, "second_sample"), (400, 3, "rejected"),
        (1_000, 2, "accepted"), (1_000, 3, "second_sample"), (1_000, 4, "second_sample"),
        (1_000, 5, "rejected"), (4_000, 3, "accepted"), (4_000, 6, "second_sample"),
        (4_000, 7, "rejected"),
    ],
)  # fmt: skip
def test_the_first_sample_of_the_double_plan_decides_or_asks_for_a_second(
    batch: int, first: int, finding: str
) -> None:
    count = plan(Check.DOUBLE, batch).steps[0].weighed

    assert contents(Check.DOUBLE, batch, with_defectives(count, first)) == finding


@pytest.mark.parametrize(
    ("batch", "first", "second", "finding"),
    # The same clause: the counts of both samples together.
    [
        (400, 2, 2, "accepted"), (400, 2, 3, "rejected"), (1_000, 3, 3, "accepted"),
        (1_000, 3, 4, "rejected"), (800, 3, 3, "accepted"), (800, 3, 4, "rejected"),
        (4_000, 4, 4, "accepted"), (4_000, 4, 5, "rejected"),
    ],
)  # fmt: skip
def test_the_second_sample_decides_by_the_count_of_both(
    batch: int, first: int, second: int, finding: str
) -> None:
    count = plan(Check.DOUBLE, batch).steps[0].weighed
    weights = with_defectives(count, first) + with_defectives(count, second)

    assert contents(Check.DOUBLE, batch, weights) == finding


def test_a_second_sample_that_was_not_asked_for_changes_nothing() -> None:
    weights = with_defectives(30, 1) + with_defectives(30, 9)

    verdict = judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), weights)

    assert (verdict.contents, verdict.defective) == (Finding.ACCEPTED, 1)


@pytest.mark.parametrize(
    ("batch", "count", "accept"),
    # SI 2006/659, Schedule 2, paragraph 3: the single plan.
    [(400, 50, 3), (1_000, 80, 5), (5_000, 125, 7)],
)
def test_the_single_plan_decides_at_once(batch: int, count: int, accept: int) -> None:
    assert contents(Check.SINGLE, batch, with_defectives(count, accept)) == "accepted"
    assert contents(Check.SINGLE, batch, with_defectives(count, accept + 1)) == "rejected"


@pytest.mark.parametrize(
    ("batch", "double", "single"),
    # The edges of both tables.
    [(100, 30, 50), (500, 30, 50), (501, 50, 80), (3_200, 50, 80), (3_201, 80, 125)],
)
def test_the_size_of_the_batch_chooses_the_row_of_the_plan(
    batch: int, double: int, single: int
) -> None:
    assert plan(Check.DOUBLE, batch).steps[0].weighed == double
    assert plan(Check.SINGLE, batch).steps[0].weighed == single


def test_the_destructive_plan_opens_twenty() -> None:
    # Directive 76/211/EEC, Annex II 2.2.2.
    assert contents(Check.DESTRUCTIVE, 400, with_defectives(20, 1)) == "accepted"
    assert contents(Check.DESTRUCTIVE, 400, with_defectives(20, 2)) == "rejected"


def test_of_a_small_batch_all_are_weighed_and_five_in_a_hundred_may_be_short() -> None:
    # SI 2006/659, Schedule 2, paragraph 3.
    assert contents(Check.EVERY, 60, with_defectives(60, 3)) == "accepted"
    assert contents(Check.EVERY, 60, with_defectives(60, 4)) == "rejected"


@pytest.mark.parametrize(
    ("check", "batch", "why"),
    [
        (Check.DOUBLE, 99, "100 packages or more, not from 99"),
        (Check.SINGLE, 99, "100 packages or more"),
        (Check.DESTRUCTIVE, 99, "100 packages or more"),
        (Check.EVERY, 100, "below 100 packages"),
        (Check.US, 11, "begins at 12"),
    ],
)
def test_a_plan_is_refused_for_a_batch_it_is_not_made_for(
    check: Check, batch: int, why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        plan(check, batch)


@pytest.mark.parametrize("count", [0, 29, 31, 59, 61])
def test_another_count_of_weights_than_the_plan_asks_for_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match=f"30 or, .* 60 weights, not {count}"):
        judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), [SOUND_MG] * count)


@pytest.mark.parametrize(
    ("count", "t", "factor"),
    # SI 2006/659, Schedule 2, paragraph 4: 0.640, 0.503, 0.379. Student's t at 0.995 with one
    # degree of freedom less than the count, from any printed table (2.8609, 2.7564, 2.6800).
    [(20, "2.8609", "0.6397"), (30, "2.7564", "0.5032"), (50, "2.6800", "0.3790")],
)
def test_the_factors_of_the_mean_are_those_of_students_t(count: int, t: str, factor: str) -> None:
    by_count = {
        20: plan(Check.DESTRUCTIVE, 400), 30: plan(Check.DOUBLE, 400), 50: plan(Check.DOUBLE, 800),
    }  # fmt: skip
    by_t = Decimal(t) / Decimal(count).sqrt()

    assert round(by_t, 4) == Decimal(factor)
    assert by_count[count].mean_of == count
    assert Fraction(round(by_t, 3)) == by_count[count].factor


@pytest.mark.parametrize(
    ("chosen", "limit_g"),
    # SI 2006/659, Schedule 2, paragraph 4, with a standard deviation of 2.0 g.
    [
        (plan(Check.DOUBLE, 400), "248.994"),
        (plan(Check.DOUBLE, 1_000), "249.242"),
        (plan(Check.DESTRUCTIVE, 400), "248.720"),
    ],
)
def test_the_mean_may_stay_below_nominal_by_its_factor(chosen: Plan, limit_g: str) -> None:
    count = chosen.mean_of
    # Half the weights a step above nominal and half below: the variance is step2 * n / (n - 1).
    step = isqrt(2_000**2 * (count - 1) // count)

    mean = judge(
        chosen, limits(250, chosen.check), [250_000 - step, 250_000 + step] * (count // 2)
    ).mean

    assert abs(mean.deviation_mg - 2_000) < 1
    assert abs(mean.limit_mg - Decimal(limit_g) * 1000) < 1


@pytest.mark.parametrize(("more_mg", "finding"), [(0, "accepted"), (-1, "rejected")])
def test_a_mean_that_equals_its_limit_is_accepted(more_mg: int, finding: str) -> None:
    # SI 2006/659, Schedule 2, paragraph 4: its table says "equal or greater". Of nine weights one
    # is 9 000 mg lighter than the others: mean 1 000 mg below them, deviation exactly 3 000 mg.
    chosen = Plan(Check.DOUBLE, (Step(9, 0, 1),), mean_of=9, factor=Fraction(1, 2))
    alike = 250_000 - 1_500 + 1_000 + more_mg

    mean = judge(chosen, Limits(250_000, 20_000), [alike] * 8 + [alike - 9_000]).mean

    assert mean.deviation_mg == 3_000
    assert mean.limit_mg == 248_500
    assert mean.finding == finding


def test_a_batch_with_one_defective_bag_and_a_mean_just_under_nominal_is_accepted() -> None:
    # The weights are made up and the figures computed; the rules are those of the Directive, Annex
    # II 2.2.1, and of SI 2006/659, Schedule 2, paragraph 4.
    weights = mg(
        "250.8 249.6 251.2 250.1 248.9 250.4 252.0 249.2 250.9 251.5 247.8 250.3 249.9 250.6 251.1 "
        "248.4 250.2 249.7 251.8 250.0 240.6 250.7 249.5 250.9 251.3 249.0 250.5 248.7 251.0 250.4"
    )

    verdict = judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), weights)

    assert verdict.mean.mean_mg == 249_900
    assert round(verdict.mean.deviation_mg / 1000, 4) == Decimal("2.0271")
    assert round(verdict.mean.limit_mg / 1000, 3) == Decimal("248.980")
    assert (verdict.defective, verdict.below_t2) == (1, 0)
    assert verdict.finding is Finding.ACCEPTED


def test_one_bag_below_t2_is_enough_to_reject() -> None:
    # UK government, "Packaged goods": none short by more than twice the tolerable error.
    weights = [231_999] + [255_000] * 29

    verdict = judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), weights)

    assert (verdict.contents, verdict.mean.finding) == (Finding.ACCEPTED, Finding.ACCEPTED)
    assert (verdict.below_t2, verdict.finding) == (1, Finding.REJECTED)


def test_a_bag_at_t1_is_no_defective_one_and_a_bag_at_t2_is_no_stop() -> None:
    weights = [241_000, 232_000] + [255_000] * 28

    verdict = judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), weights)

    assert (verdict.defective, verdict.below_t2) == (1, 0)


@pytest.mark.parametrize(("nominal_g", "error_g"), [(250, "1.8"), (1_000, "3.0")])
def test_a_scale_may_be_off_by_a_fifth_of_the_tolerable_error(nominal_g: int, error_g: str) -> None:
    # Statutory Rules of Northern Ireland 2011/331, Schedule 2, paragraph 1.3.
    assert scale_error_g(nominal_g) == Decimal(error_g)


@pytest.mark.parametrize(
    ("batch", "count", "factor"),
    # NIST Handbook 133: the plan is from memory; the factors are t(0.975) over the root of n.
    [(12, 12, "0.635"), (250, 12, "0.635"), (251, 24, "0.422"), (3_200, 24, "0.422"),
     (3_201, 48, "0.290")],
)  # fmt: skip
def test_the_american_plan_has_its_own_counts_and_factors(
    batch: int, count: int, factor: str
) -> None:
    chosen = plan(Check.US, batch)

    assert (chosen.steps[0].weighed, chosen.factor) == (count, Fraction(factor))


@pytest.mark.parametrize(
    ("nominal_g", "error_g"),
    # NIST Handbook 133, maximum allowable variations: 113 g as a mailing list of metrologists
    # quotes it (7 g), the rest from memory.
    [(113, "7.2"), (250, "12.7"), (340, "16.3"), (454, "19.9")],
)
def test_the_american_allowed_variation_is_known_for_common_bags(
    nominal_g: int, error_g: str
) -> None:
    assert limits(nominal_g, Check.US).error_mg == Decimal(error_g) * 1000


def test_the_american_figure_of_another_bag_is_not_guessed() -> None:
    with pytest.raises(ValueError, match="not for 200 g"):
        limits(200, Check.US)


def test_one_bag_beyond_the_american_variation_rejects() -> None:
    weights = [237_299] + [255_000] * 11

    verdict = judge(plan(Check.US, 100), limits(250, Check.US), weights)

    assert (verdict.defective, verdict.finding) == (1, Finding.REJECTED)


@given(st.lists(st.integers(240_000, 260_000), min_size=30, max_size=30))
def test_mean_and_deviation_are_those_of_the_statistics_library(weights: list[int]) -> None:
    mean = judge(plan(Check.DOUBLE, 400), limits(250, Check.DOUBLE), weights).mean

    assert mean.mean_mg == Fraction(sum(weights), 30)
    assert abs(mean.deviation_mg - Decimal(stdev(weights))) < Decimal("0.01")
    assert (mean.finding is Finding.ACCEPTED) == (
        mean.mean_mg >= 250_000 or Fraction(mean.limit_mg) <= mean.mean_mg
    )
