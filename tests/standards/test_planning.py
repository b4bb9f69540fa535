"""Stock planning against worked examples of textbooks and exercises."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.planning import (
    Forward,
    Spread,
    days_of_cover,
    economic_order,
    forward_cover,
    net_cover,
    order_up_to,
    reorder_point,
    root,
    rounded,
    safety_stock,
    spread,
    variance_in_lead_time,
    whole_units,
    z_of,
)

amounts = st.integers(0, 10**7)


def near(found: Fraction, printed: str) -> bool:
    """Compare with what a book prints, to the last digit it prints."""
    wanted = Decimal(printed)
    exponent = wanted.as_tuple().exponent
    assert isinstance(exponent, int)
    return abs(found - Fraction(wanted)) <= Fraction(6, 10) / Fraction(10) ** -exponent


@pytest.mark.parametrize(
    ("level", "z"),
    # The table of a page on safety stock (supplychainanalytics.in, post 4314) prints 1.28, 1.65,
    # 1.88, 1.96, 2.05 and 2.33; four decimals computed with the standard library's NormalDist.
    [("90", "1.2816"), ("95", "1.6449"), ("97", "1.8808"), ("97.5", "1.9600"),
     ("98", "2.0537"), ("99", "2.3263"), ("99.5", "2.5758")],
)  # fmt: skip
def test_a_service_level_has_the_z_of_the_tables(level: str, z: str) -> None:
    assert z_of(Decimal(level)) == Decimal(z)


def test_the_reorder_point_of_a_textbook_is_its_demand_and_its_safety_stock() -> None:
    # W. J. Stevenson, Operations Management, 14th ed., p. 528, Example 8: expected demand in the
    # lead time of 50 tons, sd 5, risk of 3 %, so z = 1.88: safety stock 9.40, reorder point 59.40.
    safety = safety_stock(Decimal("1.88"), Fraction(25))

    assert safety == Fraction("9.40")
    assert reorder_point(50, 1, safety) == Fraction("59.40")


@pytest.mark.parametrize(
    ("daily", "lead", "z", "safety", "point"),
    [
        # A bookstore exercise (math.bot): 12 a day, sd 5, six days, 5 % risk; computed.
        (("12", "5"), ("6", "0"), "1.645", "20.147", "92.147"),
        # An exercise on constant demand (brainmass.com 210800): 12,500, lead 4, its sd 1; computed.
        (("12500", "0"), ("4", "1"), "1.88", "23500", "73500"),
        # The same sort (brainmass.com 468949): 5, lead 3, its sd 2; computed.
        (("5", "0"), ("3", "2"), "1.65", "16.5", "31.5"),
        # Both vary (qammunity.org, data alone: its answer of 133 is wrong); computed.
        (("23", "8"), ("2", "1.2"), "2.0537", "61.26", "107.26"),
    ],
)
def test_safety_stock_covers_what_demand_and_lead_time_vary(
    daily: tuple[str, str], lead: tuple[str, str], z: str, safety: str, point: str
) -> None:
    (a_day, a_day_sd), (days, days_sd) = (map(Fraction, each) for each in (daily, lead))
    kept = safety_stock(Decimal(z), variance_in_lead_time(a_day, a_day_sd**2, days, days_sd**2))

    if z == "1.645":
        assert near(root(variance_in_lead_time(a_day, a_day_sd**2, days, days_sd**2)), "12.247")
    assert near(kept, safety)
    assert near(reorder_point(a_day, days, kept), point)


def test_a_lead_time_in_days_goes_with_demand_by_week_once_both_are_in_weeks() -> None:
    # An exercise (wizedu.com, Sweet Endings): 21 a week, sd 3.5, two days of seven, z 1.28;
    # printed 8.39.
    safety = safety_stock(
        Decimal("1.28"), variance_in_lead_time(21, Fraction("3.5") ** 2, Fraction(2, 7), 0)
    )

    assert rounded(reorder_point(21, Fraction(2, 7), safety), 3) == Decimal("8.395")


def test_an_order_for_a_period_goes_up_to_the_textbook_s_level() -> None:
    # Valentina's Pizza, an exercise on periodic review (smartsolve.ai; after Chase et al., from
    # memory): review 6 weeks, lead 5, 160 a week, sd 26, z 2.06, stock 500: 1,938 and 1,438.
    level = order_up_to(160, 26**2, 6, 0, lead_days=5, z=Decimal("2.06"))

    assert near(level, "1937.64")
    assert whole_units(level - 500, 1) == 1438


def test_the_cheapest_order_is_the_one_of_the_tyre_example() -> None:
    # A tyre dealer's exercise (scribd.com 445782764): D 9,600, S 75, H 16, 288 days of business:
    # 300 tyres, 32 orders, one every 9 days, for 4,800 a year.
    tyres = economic_order(9600, 75, 16)

    def cost(lot: Fraction) -> Fraction:
        return 75 * 9600 / lot + 16 * lot / 2

    assert [tyres, 9600 / tyres, 288 / (9600 / tyres), cost(tyres)] == [300, 32, 9, 4800]
    assert cost(tyres) < min(cost(tyres - 1), cost(tyres + 1))


@pytest.mark.parametrize(
    ("stock", "used", "days", "cover"),
    # Inputs of the first from a page on days of forward cover
    # (calculator7.snowdaycalculatornow.com); the last is 100 kg roasted a day at a loss of 15 %.
    [(1200, 60, 1, Fraction(20)), (500, 25, 1, Fraction(20)), (5, 0, 28, None),
     (250, 243, 7, Fraction(1750, 243)), (6900, 117_647, 1000, Fraction(6_900_000, 117_647))],
)  # fmt: skip
def test_cover_is_stock_over_average_use(
    stock: int, used: int, days: int, cover: Fraction | None
) -> None:
    assert days_of_cover(stock, used, days) == cover


def test_net_cover_counts_what_is_coming_and_not_what_is_promised() -> None:
    # Data of a page on days of forward cover (calculator7.snowdaycalculatornow.com): 900 on hand,
    # 300 on order, 150 committed, 70 a day.
    assert net_cover(900, 300, 150, 70) == 15
    assert net_cover(900, 300, 150, 0) is None


def test_forward_cover_is_whole_days_and_a_part_of_the_next() -> None:
    # By hand: five days of 20 leave 80 of 180; 80 / 30 = 2.667; it runs out on the eighth day.
    found = forward_cover(180, [20] * 5, 30)

    assert rounded(found.days or Fraction(), 3) == Decimal("7.667")
    assert found.empty_on == 8


def test_forward_cover_that_ends_with_the_plan_or_never_says_so() -> None:
    assert forward_cover(100, [20] * 5, 30) == Forward(Fraction(5), 5)
    assert forward_cover(100, [50, 50, 0, 0, 1], 0) == Forward(Fraction(4), 2)
    assert forward_cover(100, [20], 0) == Forward(None, None)
    assert forward_cover(0, [], 10) == Forward(Fraction(0), 0)


@given(amounts, st.lists(amounts, max_size=20), st.integers(1, 1000), amounts)
def test_more_stock_never_lasts_less_long_and_more_demand_never_longer(
    stock: int, plan: list[int], then: int, more: int
) -> None:
    days = forward_cover(stock, plan, then).days
    assert days is not None

    assert (forward_cover(stock + more, plan, then).days or 0) >= days
    assert (forward_cover(stock, [each + more for each in plan], then).days or 0) <= days


@given(amounts, st.integers(1, 10**7), st.integers(1, 366))
def test_cover_times_daily_use_is_the_stock_and_a_level_plan_says_the_same(
    stock: int, used: int, days: int
) -> None:
    cover = days_of_cover(stock, used, days)
    assert cover is not None

    assert cover * Fraction(used, days) == stock
    assert forward_cover(stock, [], Fraction(used, days)).days == cover


@given(st.fractions(0, 10**9, max_denominator=10**6))
def test_a_root_is_right_to_twelve_decimals(square: Fraction) -> None:
    found = root(square)

    assert found**2 <= square < (found + Fraction(1, 10**12)) ** 2


def test_a_spread_is_that_of_a_sample() -> None:
    assert spread([2, 4, 4, 4, 5, 5, 7, 9]) == Spread(Fraction(5), Fraction(32, 7))
    assert spread([12]) == Spread(Fraction(12), None)


def test_what_is_ordered_comes_in_whole_sacks() -> None:
    # 320 sacks of 60 kg are a container; a kilogram more begins another sack.
    assert whole_units(19_200_000, 60_000) == 320
    assert whole_units(19_201_000, 60_000) == 321
    assert whole_units(-1, 60_000) == 0
