"""What moisture a room pulls coffee towards, by the equation of Roa."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.equilibrium import OutOfModelError, humidity_at, moisture_at, roa
from app.standards.moisture import half_up, wet_basis

SOURCE = "Trejos-Rodríguez, Roa-Mejía, Oliveros-Tascón, Cenicafé 40(1) (1989), eq. 2 and table 3"
"""The equation and its coefficients, as a research note quotes them beside the later misprint."""


def places(value: Decimal, count: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-count))


@pytest.mark.parametrize(
    ("humidity", "warmth", "dry", "wet"),
    # Computed by hand with the coefficients of SOURCE.
    [
        (70, 25, "13.840", "12.16"),
        (50, 25, "11.124", "10.01"),
        (80, 30, "16.185", "13.93"),
        (60, 20, "12.489", "11.10"),
        (40, 10, "11.165", "10.04"),
    ],
)
def test_the_equation_gives_the_moisture_on_either_basis(
    humidity: int, warmth: int, dry: str, wet: str
) -> None:
    found = moisture_at(Decimal(humidity), Decimal(warmth))

    assert places(found.dry_basis_pct, 3) == Decimal(dry)
    assert places(found.wet_basis_pct, 2) == Decimal(wet)


@pytest.mark.parametrize(
    ("humidity", "printed"),
    # SOURCE, table 3: at 50, 60 and 70 °C.
    [(10, "4.4 4.2 4.1"), (20, "6.6 6.3 6.0"), (30, "7.9 7.5 7.1")],
)
def test_the_table_printed_with_the_equation_comes_out(humidity: int, printed: str) -> None:
    computed = [roa(Decimal(humidity) / 100, Decimal(warmth)) for warmth in (50, 60, 70)]

    assert [str(places(value, 1)) for value in computed] == printed.split()


@pytest.mark.parametrize(
    ("warmth", "wet", "humidity"),
    # Computed by hand with the coefficients of SOURCE.
    [
        (25, "10", "49.9"),
        (25, "11", "61.2"),
        (25, "12", "69.0"),
        (25, "12.5", "72.1"),
        (20, "11", "59.0"),
        (20, "12", "67.6"),
    ],
)
def test_the_humidity_in_which_a_moisture_stays(warmth: int, wet: str, humidity: str) -> None:
    found = humidity_at(Decimal(wet), Decimal(warmth))

    assert abs(found - Decimal(humidity)) <= Decimal("0.1")


def test_the_coefficient_is_the_right_one_and_not_the_later_misprint() -> None:
    # A later paper prints -0.03049 for -0.037049; the note that quotes SOURCE found the slip.
    found = moisture_at(Decimal(60), Decimal(25)).dry_basis_pct

    assert places(found, 3) == Decimal("12.205")
    assert abs(found - Decimal("13.467")) > 1


def test_it_agrees_with_what_a_university_says_of_seventy_per_cent() -> None:
    # Gautz, Smith, Bittenbender, Measuring coffee bean moisture content, Univ. of Hawaii CTAHR
    # EN-3 (2008): at about 70 % relative humidity coffee settles near 12 %.
    found = moisture_at(Decimal(70), Decimal(25)).wet_basis_pct

    assert places(found, 2) == Decimal("12.16")
    assert abs(found - 12) < Decimal("0.5")


@pytest.mark.parametrize(("humidity", "warmth"), [(10, 5), (90, 55), (10, 55), (90, 5)])
def test_the_ends_of_the_model_are_in_it(humidity: int, warmth: int) -> None:
    moist = moisture_at(Decimal(humidity), Decimal(warmth)).wet_basis_pct

    assert 0 < moist < 30
    assert abs(humidity_at(half_up(wet_basis(roa(Decimal(humidity) / 100, Decimal(warmth))), 2),
                           Decimal(warmth)) - humidity) < 1  # fmt: skip


@pytest.mark.parametrize(
    ("humidity", "warmth", "field", "said"),
    [
        ("60", "4.9", "temperature_c", "outside 5 to 55 °C"),
        ("60", "55.1", "temperature_c", "outside 5 to 55 °C"),
        ("9.9", "20", "relative_humidity_pct", "outside 10 to 90 %"),
        ("90.1", "20", "relative_humidity_pct", "outside 10 to 90 %"),
    ],
)
def test_outside_its_data_the_model_says_its_limits(
    humidity: str, warmth: str, field: str, said: str
) -> None:
    with pytest.raises(OutOfModelError, match=said) as refused:
        moisture_at(Decimal(humidity), Decimal(warmth))

    assert refused.value.field == field


@pytest.mark.parametrize("wet", ["3", "25"])
def test_a_moisture_that_no_humidity_of_the_model_gives_is_refused_with_its_ends(wet: str) -> None:
    with pytest.raises(OutOfModelError, match=r"outside 4\.51 to 16\.86 %") as refused:
        humidity_at(Decimal(wet), Decimal(25))

    assert refused.value.field == "moisture_pct"
    with pytest.raises(OutOfModelError, match="55 °C"):
        humidity_at(Decimal(11), Decimal(60))


@given(st.integers(100, 899), st.integers(50, 550))
def test_damper_air_always_means_moister_coffee(humidity: int, warmth: int) -> None:
    here = roa(Decimal(humidity) / 1000, Decimal(warmth) / 10)
    damper = roa(Decimal(humidity + 1) / 1000, Decimal(warmth) / 10)

    assert here < damper
