"""The invented roastery is possible: recipes add up, numbers are well formed, days are worked."""

from datetime import date, timedelta

import pytest
from stdnum import ean

from seed.roastery import COFFEES, CUSTOMERS, PRODUCTS, RECIPES, green_a_day, mixes_for
from seed.year import working_days


@pytest.mark.parametrize("name", RECIPES)
def test_the_shares_of_a_recipe_are_the_whole(name: str) -> None:
    recipe = RECIPES[name]

    assert recipe.base_share + sum(share for _, share in recipe.parts) == 100


def test_a_mix_loses_no_gram_and_makes_its_base_first() -> None:
    mixes = mixes_for({"Belfry": 10_001, "Half Moon": 7_777, "High Ridge": 3})

    whole = {mix.recipe.name: mix.whole_g for mix in mixes}
    assert whole == {"Belfry": 10_001 + 3_888, "Half Moon": 7_777, "High Ridge": 3}
    names = [mix.recipe.name for mix in mixes]
    assert names.index("Belfry") < names.index("Half Moon")


def test_every_product_has_a_number_for_use_inside_one_company() -> None:
    # GS1 General Specifications: prefixes 20 to 29 are for restricted circulation (from memory).
    numbers = [product.gtin for product in PRODUCTS]

    assert all(ean.is_valid(number) and number.startswith("20") for number in numbers)
    assert len(set(numbers)) == len(numbers)


def test_customers_order_what_there_is_and_every_coffee_is_used() -> None:
    skus = {product.sku for product in PRODUCTS}

    assert {sku for customer in CUSTOMERS for sku in customer.basket} == skus
    assert set(green_a_day()) == set(COFFEES)


def test_a_year_has_no_weekends_and_no_winter_holidays() -> None:
    first, *worked = working_days(date(2026, 6, 10), None)

    assert worked[0] > date(2025, 6, 10) >= first
    assert worked[-1] == date(2026, 6, 10)
    assert all(day.weekday() < 5 for day in worked)
    assert not {date(2025, 12, 24) + timedelta(days=n) for n in range(9)} & set(worked)
    assert len(worked) == 254


def test_so_many_days_are_the_last_ones() -> None:
    assert working_days(date(2026, 6, 14), 3) == [
        date(2026, 6, 9), date(2026, 6, 10), date(2026, 6, 11), date(2026, 6, 12),
    ]  # fmt: skip
