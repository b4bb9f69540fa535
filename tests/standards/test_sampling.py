"""The sample plan: from how many sacks, and how much of each."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.sampling import SamplingRule, plan, sacks_to_sample

# Share, floor, increment and bulk of ISO 4072: from memory, therefore settings.
RULE = SamplingRule(share_pct=Decimal(10), fewest_sacks=10, increment_g=30, bulk_g=1500)


@pytest.mark.parametrize(
    ("sacks", "sampled"),
    # From 10 sacks on: ISO 4072, the share and the floor from memory. Below: our rule.
    [(7, 7), (10, 10), (40, 10), (101, 11), (250, 25), (275, 28)],
)
def test_a_tenth_of_the_sacks_is_sampled_and_never_fewer_than_ten(sacks: int, sampled: int) -> None:
    assert sacks_to_sample(sacks, Decimal(10), 10) == sampled


@pytest.mark.parametrize(("sacks", "sampled"), [(0, 0), (1, 1), (9, 9), (11, 10), (100, 10)])
def test_below_the_scope_of_the_standard_every_sack_is_sampled(sacks: int, sampled: int) -> None:
    assert sacks_to_sample(sacks, Decimal(10), 10) == sampled


def test_a_floor_above_the_lot_asks_for_the_whole_lot() -> None:
    assert sacks_to_sample(12, Decimal(10), 20) == 12


def test_a_share_is_rounded_up_exactly() -> None:
    assert sacks_to_sample(1000, Decimal("12.5"), 10) == 125
    assert sacks_to_sample(1001, Decimal("12.5"), 10) == 126


@given(
    st.integers(0, 5000),
    st.decimals(0, 100, places=1, allow_nan=False, allow_infinity=False),
    st.integers(1, 500),
)
def test_no_plan_asks_for_sacks_that_are_not_there(sacks: int, share: Decimal, floor: int) -> None:
    sampled = sacks_to_sample(sacks, share, floor)

    assert 0 <= sampled <= sacks
    assert sampled >= min(sacks, floor)
    assert 100 * sampled >= share * sacks


def test_enough_is_drawn_of_each_sack_for_the_bulk_sample() -> None:
    assert plan(40, RULE).each_g == 150  # 10 sacks, 1500 g
    assert plan(275, RULE).each_g == 54  # 28 sacks give 1512 g
    assert plan(1000, RULE).each_g == 30  # 100 sacks at 30 g are more than enough
    assert plan(0, RULE).each_g == 0


def test_a_plan_is_met_by_as_many_sacks_as_it_asks_for() -> None:
    planned = plan(275, RULE)

    assert planned.is_met_by(28)
    assert not planned.is_met_by(27)
    assert not plan(0, RULE).is_met_by(0)
