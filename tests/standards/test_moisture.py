"""Dry matter stays, water comes and goes."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.moisture import (
    dry_basis,
    dry_matter,
    explained_change,
    half_up,
    mass_at,
    mixed,
    replicates,
    water,
    wet_basis,
)

GRAMS = st.integers(1, 30_000_000)
WET = st.decimals(0, Decimal("99.999"), places=3, allow_nan=False, allow_infinity=False)


def test_mass_follows_moisture_through_the_dry_matter() -> None:
    # FAO/ICO, Good hygiene practices, Determination of moisture content:
    # 1 000 kg at 12 % dried to 9 % weigh 967 kg.
    dried = mass_at(1000, 12, 9)

    assert half_up(dried, 0) == 967
    assert half_up(dried, 2) == Decimal("967.03")
    assert half_up(explained_change(1000, 12, 9), 3) == Decimal("-32.967")


@pytest.mark.parametrize(("moisture", "tonnes"), [("12", 3000), ("14.5", 3625)])
def test_the_water_in_a_ship_of_coffee(moisture: str, tonnes: int) -> None:
    # FAO/ICO, Good hygiene practices, Determination of moisture content:
    # 25 000 t at 12 % and at 14.5 %.
    assert water(25_000, Decimal(moisture)) == tonnes


@pytest.mark.parametrize(
    ("wet", "dry"),
    # Arithmetic: 100 w / (100 - w).
    [("8", "8.6957"), ("10", "11.1111"), ("11", "12.3596"), ("12", "13.6364"), ("12.5", "14.2857")],
)
def test_wet_basis_and_dry_basis_are_the_same_coffee(wet: str, dry: str) -> None:
    assert half_up(dry_basis(Decimal(wet)), 4) == Decimal(dry)
    assert wet_basis(dry_basis(Decimal(wet))) == Decimal(wet)


def test_the_dry_matter_of_a_sack() -> None:
    # Arithmetic: 60 (1 - 0.115).
    assert dry_matter(60, Decimal("11.5")) == Decimal("53.1")


def test_sacks_put_together_are_as_moist_as_their_masses_say() -> None:
    together = mixed([(60_000, Decimal("10.5")), (20_000, Decimal("12.5"))])

    assert together == 11  # arithmetic; the plain average would be 11.5


@pytest.mark.parametrize("moisture", ["-0.001", "100", "100.001"])
def test_what_is_no_moisture_is_refused(moisture: str) -> None:
    with pytest.raises(ValueError, match="wet basis"):
        mass_at(60, Decimal(moisture), 11)
    with pytest.raises(ValueError, match="wet basis"):
        mass_at(60, 11, Decimal(moisture))


def test_nothing_has_no_moisture() -> None:
    with pytest.raises(ValueError, match="nothing"):
        mixed([])
    with pytest.raises(ValueError, match="dry basis"):
        wet_basis(-1)


def test_several_readings_have_a_mean_and_a_spread() -> None:
    three = replicates([Decimal("11.2"), Decimal("11.5"), Decimal("11.3")])

    assert three.mean == Fraction(34, 3)
    assert three.spread == Decimal("0.3")


@pytest.mark.parametrize(
    ("value", "rounded"),
    [
        (Fraction(34, 3), "11.333"),
        (Fraction(35, 3), "11.667"),
        (Fraction(114_005, 10_000), "11.401"),
        (Fraction(114_004, 10_000), "11.400"),
        (Fraction(-114_005, 10_000), "-11.401"),
        (Fraction(0), "0.000"),
    ],
)
def test_a_half_is_rounded_up(value: Fraction, rounded: str) -> None:
    assert str(half_up(value)) == rounded


@given(GRAMS, WET, WET)
def test_no_dry_matter_is_lost_on_the_way_there_and_back(
    grams: int, before: Decimal, after: Decimal
) -> None:
    there = mass_at(grams, before, after)

    assert dry_matter(there, after) == dry_matter(grams, before)
    assert mass_at(there, after, before) == grams
    assert (there < grams) == (after < before)


@given(GRAMS, WET, GRAMS, WET)
def test_a_mix_is_never_wetter_or_drier_than_its_parts(
    one_g: int, one: Decimal, other_g: int, other: Decimal
) -> None:
    together = mixed([(one_g, one), (other_g, other)])

    assert min(one, other) <= together <= max(one, other)
