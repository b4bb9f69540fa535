"""Figures of a check of weights, as they are shown."""

from decimal import Decimal
from fractions import Fraction

from app.shared.shares import plain
from app.standards.average_quantity import MG


def grams(milligrams: Decimal | Fraction | int, places: int = 3) -> Decimal:
    """Write milligrams as grams, rounded half to even."""
    exact = Fraction(milligrams) / MG
    return plain(Decimal(round(exact * 10**places)).scaleb(-places))
