"""Limits of charts of means and ranges."""

import random

import pytest

from app.standards.control_limits import (
    Around,
    deviation_by_ranges,
    factors,
    means_around,
    range_of,
    ranges_around,
)

# Factors for constructing control charts, as an appendix of a textbook of statistics prints them
# (its table A.22: d2, d3, D3, D4, A2); those up to ten weights stand in the NIST/SEMATECH
# e-Handbook of Statistical Methods, section 6.3.2.1, too (from memory).
TABLE = {
    2: (1.128, 0.853, 0, 3.267, 1.880),
    3: (1.693, 0.888, 0, 2.574, 1.023),
    4: (2.059, 0.880, 0, 2.282, 0.729),
    5: (2.326, 0.864, 0, 2.114, 0.577),
    6: (2.534, 0.848, 0, 2.004, 0.483),
    7: (2.704, 0.833, 0.076, 1.924, 0.419),
    8: (2.847, 0.820, 0.136, 1.864, 0.373),
    9: (2.970, 0.808, 0.184, 1.816, 0.337),
    10: (3.078, 0.797, 0.223, 1.777, 0.308),
    15: (3.472, 0.756, 0.347, 1.653, 0.223),
    20: (3.735, 0.729, 0.415, 1.585, 0.180),
}


@pytest.mark.parametrize("count", list(TABLE))
def test_the_factors_are_those_of_the_tables(count: int) -> None:
    d2, d3, lower, upper, a2 = TABLE[count]
    # The tables were computed from rounded figures: the last digit may differ by one.
    spread, found = range_of(count), factors(count)

    assert (spread.mean, spread.deviation) == pytest.approx((d2, d3), abs=0.0011)
    assert (found.a2, found.d3, found.d4) == pytest.approx((a2, lower, upper), abs=0.0011)


def test_with_checks_of_one_size_the_limits_are_the_mean_range_times_the_factors() -> None:
    ranges = [4.0, 5.0, 6.0]
    deviation = deviation_by_ranges([5, 5, 5], ranges)

    means, spreads = means_around(250, deviation, 5), ranges_around(deviation, 5)

    assert (means.low, means.high) == pytest.approx((250 - 0.577 * 5, 250 + 0.577 * 5), abs=0.005)
    assert spreads == pytest.approx((0, 5, 2.114 * 5), abs=0.005)


def test_more_weights_than_any_table_has_are_held_against_chance() -> None:
    # Two thousand checks of sixty by the normal law; the same every time.
    chance = random.Random(60)  # noqa: S311 - no secret
    ranges = []
    for _ in range(2_000):
        weights = [chance.gauss(0, 1) for _ in range(60)]
        ranges.append(max(weights) - min(weights))

    assert range_of(60).mean == pytest.approx(sum(ranges) / len(ranges), abs=0.05)
    assert deviation_by_ranges([60] * len(ranges), ranges) == pytest.approx(1, abs=0.02)


def test_one_weight_has_no_range() -> None:
    with pytest.raises(ValueError, match="no range"):
        range_of(1)


def test_a_value_at_its_limit_is_inside() -> None:
    around = Around(1, 2, 3)

    assert [around.holds(value) for value in (0.999, 1, 3, 3.001)] == [False, True, True, False]
