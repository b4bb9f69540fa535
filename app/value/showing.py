"""Money as it is shown: by currency, rounded once."""

from fractions import Fraction
from math import ceil

from app.standards.costing import UNPRICED, Money, shown
from app.value.schemas import AmountOut, CostOfMass

_LONGEST = 80
"""A fraction that is longer helps nobody."""


def currencies(money: Money) -> list[str]:
    """Name the currencies in their order."""
    return sorted(money.keys() - {UNPRICED})


def amounts(money: Money, decimals: int = 2) -> list[AmountOut]:
    """Show every amount."""
    return [
        AmountOut(currency=each, amount=shown(money[each], decimals)) for each in currencies(money)
    ]


def of_mass(money: Money, grams: int) -> list[CostOfMass]:
    """Show every amount, and what a kilogram cost."""
    return [
        CostOfMass(
            currency=each,
            amount=shown(money[each], 2),
            per_kg=shown(per_kg, 4),
            per_kg_exact=exact if len(exact := str(per_kg)) <= _LONGEST else None,
        )
        for each in currencies(money)
        for per_kg in [money[each] * 1000 / grams]
    ]


def unpriced_g(money: Money) -> int:
    """Tell how much green has no price, to the next whole gram."""
    return ceil(money.get(UNPRICED, Fraction()))
