"""How old a crop is, how high it grew, and which coffee year counts: the rules alone."""

from datetime import date
from decimal import Decimal

import pytest

from app.green.identity.rules import (
    AltitudeUnit,
    CropLimits,
    Light,
    YearFrom,
    crop_age,
    metres,
    months_after,
    year_of,
)
from app.standards.crop_years import CropYears, crop_years

LIMITS = CropLimits(amber_months=9, red_months=12)


@pytest.mark.parametrize(
    ("today", "light"),
    [
        # A green-coffee trader's page on common storage mistakes: about a year from harvest. That
        # amber begins at nine months is our own proposal.
        (date(2025, 12, 30), Light.GREEN),
        (date(2025, 12, 31), Light.AMBER),
        (date(2026, 3, 30), Light.AMBER),
        (date(2026, 3, 31), Light.RED),
    ],
)
def test_a_crop_is_amber_nine_and_red_twelve_months_after_its_harvest_ended(
    today: date, light: Light
) -> None:
    age = crop_age(date(2025, 3, 31), date(2025, 8, 1), None, today, LIMITS)

    assert age == (light, date(2025, 3, 31), True)


@pytest.mark.parametrize(
    ("today", "light"),
    [
        (date(2026, 4, 30), Light.GREEN),
        (date(2026, 5, 1), Light.AMBER),
        (date(2026, 8, 1), Light.RED),
    ],
)
def test_where_nobody_said_when_the_harvest_ended_the_arrival_counts(
    today: date, light: Light
) -> None:
    # Our own proposal.
    crop = crop_years("2025/26")

    assert crop_age(None, date(2025, 8, 1), crop, today, LIMITS) == (
        light, date(2025, 8, 1), False,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("crop", "light"),
    [
        # Our own rule: a crop that is old by its printed year is not shown as young for having
        # arrived lately. The year 2024 is over nine months before 30 September 2025.
        (CropYears(2023, 2024), Light.UNKNOWN),
        (CropYears(2024, 2024), Light.UNKNOWN),
        (CropYears(2024, 2025), Light.GREEN),
        (CropYears(2025, 2026), Light.GREEN),
        (CropYears(0, 0), Light.GREEN),
        (CropYears(9999, 9999), Light.GREEN),
        (None, Light.GREEN),
    ],
)
def test_a_past_crop_that_arrived_lately_is_not_called_young(
    crop: CropYears | None, light: Light
) -> None:
    arrived = date(2025, 9, 1)

    assert crop_age(None, arrived, crop, date(2025, 9, 30), LIMITS).light is light
    assert crop_age(arrived, arrived, crop, date(2025, 9, 30), LIMITS).light is Light.GREEN


@pytest.mark.parametrize(
    ("day", "months", "after"),
    [
        (date(2025, 5, 31), 9, date(2026, 2, 28)),
        (date(2023, 5, 31), 9, date(2024, 2, 29)),
        (date(2025, 12, 31), 12, date(2026, 12, 31)),
        (date(2025, 1, 1), 11, date(2025, 12, 1)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
    ],
)
def test_a_month_without_that_day_ends_on_its_last(day: date, months: int, after: date) -> None:
    assert months_after(day, months) == after


@pytest.mark.parametrize(
    ("altitude", "unit", "in_metres"),
    [
        # The international foot: 0.3048 m exactly (yard and pound agreement of 1959).
        (1, AltitudeUnit.FEET, "0.3048"),
        (5905, AltitudeUnit.FEET, "1799.8440"),
        (1800, AltitudeUnit.METRES, "1800"),
        (0, AltitudeUnit.FEET, "0"),
    ],
)
def test_feet_are_brought_to_metres_exactly(
    altitude: int, unit: AltitudeUnit, in_metres: str
) -> None:
    assert metres(altitude, unit) == Decimal(in_metres)


def test_what_was_said_of_the_coffee_year_outweighs_the_shipment_and_that_the_arrival() -> None:
    arrived, shipped = date(2025, 10, 1), date(2025, 9, 30)

    assert year_of(2023, shipped, arrived) == (2023, YearFrom.SAID)
    assert year_of(None, shipped, arrived) == (2024, YearFrom.SHIPMENT)
    assert year_of(None, None, arrived) == (2025, YearFrom.ARRIVAL)
