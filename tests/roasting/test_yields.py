"""What green gives roasted, and how many charges that makes: exactly."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.roasting.batches.rules import Slot, fill
from app.roasting.yields import Basis, Yield, batches_for, by_house, by_target, usual_charge

AT_15, AT_16 = by_target(15_000), by_target(16_000)


def test_green_is_roasted_divided_by_what_stays() -> None:
    # Arithmetic: 100 / (1 - 0.15) and 100 / (1 - 0.16), not 100 x 1.15 and 100 x 1.16.
    assert AT_15.green_for(100_000) == Fraction(100_000 * 100, 85)
    assert round(AT_15.green_for(100_000)) == 117_647
    assert round(AT_16.green_for(100_000)) == 119_048


def test_whole_charges_are_rounded_up() -> None:
    # Arithmetic: 100 kg at 15 % in charges of 12 kg are 9.80, so 10: 120 kg green, 102 kg roasted.
    made = batches_for(100_000, AT_15, 12_000)

    assert (made.charges, made.green_g, made.roasted_g) == (10, 120_000, 102_000)
    assert round(made.exact, 2) == Fraction(980, 100)


def test_a_days_use_of_roasted_coffee_is_more_green() -> None:
    # Arithmetic: 6900 kg of green at 100 kg of roasted a day and 15 %: 58.65 days, not 69.
    daily = AT_15.green_for(100_000)

    assert round(daily) == 117_647
    assert Fraction(6_900_000) / daily == Fraction(5865, 100)


@pytest.mark.parametrize(
    ("roasted_g", "charges"), [(102_000, 10), (102_001, 11), (91_800, 9), (91_801, 10), (0, 0)]
)
def test_a_gram_more_than_whole_charges_give_takes_another(roasted_g: int, charges: int) -> None:
    assert batches_for(roasted_g, AT_15, 12_000).charges == charges


def test_a_loss_says_what_it_is_read_off() -> None:
    assert (AT_15.loss_pct, AT_15.basis) == (Decimal(15), Basis.TARGET)
    house = by_house((Decimal(12), Decimal("18.5")))  # the middle: 15.25 %
    assert (house.loss_pct, house.basis) == (Decimal("15.25"), Basis.HOUSE)
    assert Yield(2, 3, Basis.MEASURED, 4).loss_pct == Decimal("33.333333")


@pytest.mark.parametrize(
    ("batch_g", "capacity_g", "charge_g"),
    # The most of the drum that is usual: our own rule, 80 %.
    [(12_000, 15_000, 12_000), (None, 15_000, 12_000), (None, 1, None), (None, None, None)],
)
def test_a_charge_is_the_styles_or_the_usual_part_of_the_drum(
    batch_g: int | None, capacity_g: int | None, charge_g: int | None
) -> None:
    assert usual_charge(batch_g, capacity_g, (Decimal(40), Decimal(80))) == charge_g


def test_slots_take_the_first_lot_as_long_as_it_lasts() -> None:
    slots = [Slot(66_667, ["A", "B"]), Slot(33_333, ["C"])]
    free = {"A": 10_000, "B": 20_000, "C": 5_000}

    first = fill(slots, 12_000, free)
    second = fill(slots, 12_000, free)

    assert (first.green, first.short_g) == ({"A": 8_000, "C": 4_000}, 0)
    assert (second.green, second.short_g) == ({"A": 2_000, "B": 6_000, "C": 1_000}, 3_000)
    assert free == {"A": 0, "B": 14_000, "C": 0}


@given(
    charge_g=st.integers(1, 75_000),
    parts=st.lists(st.integers(1, 50), min_size=1, max_size=5),
    there=st.lists(st.integers(0, 60_000), min_size=3, max_size=3),
)
def test_filling_a_charge_loses_no_gram(charge_g: int, parts: list[int], there: list[int]) -> None:
    lots = ["A", "B", "C"]
    free = dict(zip(lots, there, strict=True))

    filled = fill([Slot(part, lots) for part in parts], charge_g, free)

    assert sum(filled.green.values()) + filled.short_g == charge_g
    assert sum(free.values()) == sum(there) - sum(filled.green.values())
    assert all(left >= 0 for left in free.values())
    assert filled.short_g == max(0, charge_g - sum(there))
