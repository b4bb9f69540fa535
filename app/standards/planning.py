"""Stock planning: days of cover, safety stock, reorder points, and how much to order.

Everything is in one unit of mass and one unit of time, and exact. Two things cannot be: a square
root is cut after twelve decimals, and a quantile of the normal distribution is rounded to four,
as tables print it.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from math import ceil, isqrt
from statistics import NormalDist
from typing import Final, NamedTuple

_ROOT: Final = 10**12
_Z_PLACES: Final = Decimal("0.0001")

Amount = Fraction | int
"""A mass or a number of days."""


class Forward(NamedTuple):
    """How far stock goes against a plan."""

    days: Fraction | None
    """Whole days met, and the part of the next that is; None where the plan never uses it up."""
    empty_on: int | None
    """The day, counted from 1, by whose end nothing is left."""


class Spread(NamedTuple):
    """The mean of some observations and their variance."""

    mean: Fraction
    variance: Fraction | None
    """Of a sample, divided by n - 1; None for fewer than two."""


def days_of_cover(stock: Amount, used: Amount, days: int) -> Fraction | None:
    """Say how long stock lasts at the average of a window; None where nothing was used."""
    return Fraction(stock * days, used) if used > 0 and days > 0 else None


def net_cover(
    on_hand: Amount, on_order: Amount, committed: Amount, daily: Amount
) -> Fraction | None:
    """Count what is coming, and take off what is promised."""
    return Fraction(on_hand + on_order - committed) / daily if daily > 0 else None


def forward_cover(stock: Amount, plan: Iterable[Amount], then: Amount) -> Forward:
    """Step through a plan day by day; after its end the same is used every day."""
    if stock <= 0:
        return Forward(Fraction(0), 0)
    left, met, empty_on = Fraction(stock), 0, None
    for day, wanted in enumerate(plan, 1):
        if wanted > left:
            return Forward(met + left / wanted, empty_on or day)
        left -= wanted
        met = day
        empty_on = empty_on or (None if left else day)
    if then <= 0:
        return Forward(None, empty_on)
    days = met + left / then
    return Forward(days, empty_on or ceil(days))


def z_of(service_pct: Decimal) -> Decimal:
    """Say by how many standard deviations demand may exceed its mean at a level of service.

    The level is the chance that no order cycle ends in a stock-out, and not the share of demand
    that is filled.
    """
    return Decimal(str(NormalDist().inv_cdf(float(service_pct) / 100))).quantize(_Z_PLACES)


def root(square: Fraction) -> Fraction:
    """Draw a square root, cut after twelve decimals."""
    return Fraction(isqrt(square.numerator * _ROOT**2 // square.denominator), _ROOT)


def spread(values: Sequence[Amount]) -> Spread:
    """Work out mean and variance of what was observed."""
    mean = Fraction(sum(values)) / len(values)
    if len(values) == 1:
        return Spread(mean, None)
    return Spread(mean, sum((value - mean) ** 2 for value in values) / Fraction(len(values) - 1))


def variance_in_lead_time(
    daily: Amount, daily_variance: Amount, lead_days: Amount, lead_variance: Amount
) -> Fraction:
    """Add up how much demand varies and how much the time of delivery does."""
    return Fraction(lead_days * daily_variance + daily * daily * lead_variance)


def safety_stock(z: Decimal, variance: Fraction) -> Fraction:
    """Say how much is kept for what is above the mean."""
    return Fraction(z) * root(variance)


def reorder_point(daily: Amount, lead_days: Amount, safety: Amount) -> Fraction:
    """Say at how much stock the next order is due."""
    return Fraction(daily * lead_days + safety)


def order_up_to(
    daily: Amount, daily_variance: Amount, review_days: Amount, lead_variance: Amount,
    *, lead_days: Amount, z: Decimal,
) -> Fraction:  # fmt: skip
    """Say up to how much is ordered where an order has to last until the one after it arrives."""
    days = review_days + lead_days
    varies = variance_in_lead_time(daily, daily_variance, days, lead_variance)
    return reorder_point(daily, days, safety_stock(z, varies))


def economic_order(demand: Amount, per_order: Amount, holding: Amount) -> Fraction:
    """Say how large an order costs least, by Wilson's square root."""
    return root(Fraction(2 * demand * per_order) / holding)


def whole_units(quantity: Amount, unit: int) -> int:
    """Say how many whole sacks, pallets or containers hold a quantity; none where none is due."""
    return max(ceil(Fraction(quantity) / unit), 0)


def rounded(number: Fraction, places: int = 6) -> Decimal:
    """Write a fraction with so many decimals, half to even."""
    return quotient(number.numerator, number.denominator, places)


def quotient(number: int, by: int, places: int = 6) -> Decimal:
    """Divide with so many decimals, half to even."""
    # By hand and not by `round`, for long lists: a fraction is reduced at every step.
    scaled, rest = divmod(number * 10**places, by)
    if 2 * rest > by or (2 * rest == by and scaled % 2):
        scaled += 1
    return Decimal(scaled).scaleb(-places)
