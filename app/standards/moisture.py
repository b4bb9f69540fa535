"""Moisture: what is dry and stays, what is water and goes, on either basis.

Wet basis is water as a part of the total mass, dry basis as a part of the dry matter alone. Dry
matter is conserved while coffee stands, so mass follows moisture through it and never by adding
or subtracting points. Everything here is an exact fraction; only `half_up` rounds.
"""

from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from typing import NamedTuple, TypeAlias

Exact: TypeAlias = int | Decimal | Fraction

_WHOLE = Fraction(100)
_WIDE = Context(prec=60, rounding=ROUND_HALF_UP)


def _wet(moisture_pct: Exact) -> Fraction:
    """Read a moisture on wet basis; something must be dry matter."""
    wet = Fraction(moisture_pct)
    if not 0 <= wet < _WHOLE:
        raise ValueError(f"{moisture_pct} % is no moisture on wet basis: 0 to below 100")
    return wet


def water(mass: Exact, moisture_pct: Exact) -> Fraction:
    """Tell how much of a mass is water."""
    return Fraction(mass) * _wet(moisture_pct) / _WHOLE


def dry_matter(mass: Exact, moisture_pct: Exact) -> Fraction:
    """Tell how much of a mass is not water."""
    return Fraction(mass) - water(mass, moisture_pct)


def mass_at(mass: Exact, from_pct: Exact, to_pct: Exact) -> Fraction:
    """Tell what a mass weighs once its moisture has changed."""
    return dry_matter(mass, from_pct) * _WHOLE / (_WHOLE - _wet(to_pct))


def explained_change(mass: Exact, from_pct: Exact, to_pct: Exact) -> Fraction:
    """Tell how much heavier or lighter a change of moisture alone makes a mass."""
    return mass_at(mass, from_pct, to_pct) - Fraction(mass)


def dry_basis(wet_pct: Exact) -> Fraction:
    """Turn wet basis into dry basis."""
    wet = _wet(wet_pct)
    return _WHOLE * wet / (_WHOLE - wet)


def wet_basis(dry_pct: Exact) -> Fraction:
    """Turn dry basis into wet basis."""
    dry = Fraction(dry_pct)
    if dry < 0:
        raise ValueError(f"{dry_pct} % is no moisture on dry basis: 0 or more")
    return _WHOLE * dry / (_WHOLE + dry)


def mixed(parts: Iterable[tuple[Exact, Exact]]) -> Fraction:
    """Tell the moisture of sacks put together, each as its mass and its moisture."""
    weighed = [(Fraction(mass), water(mass, moisture_pct)) for mass, moisture_pct in parts]
    whole = sum((mass for mass, _ in weighed), Fraction())
    if whole <= 0:
        raise ValueError("nothing was mixed")
    return _WHOLE * sum((wet for _, wet in weighed), Fraction()) / whole


class Replicates(NamedTuple):
    """What several readings of one sample say together."""

    mean: Fraction
    spread: Fraction
    """The largest less the smallest."""


def replicates(values: Sequence[Exact]) -> Replicates:
    """Put readings of one sample together."""
    exact = [Fraction(value) for value in values]
    return Replicates(sum(exact, Fraction()) / len(exact), max(exact) - min(exact))


def half_up(value: Fraction, places: int = 3) -> Decimal:
    """Round to so many decimals, a half away from zero."""
    scaled, rest = divmod(abs(value) * 10**places, 1)
    units = int(scaled) + (rest * 2 >= 1)
    return Decimal(units if value >= 0 else -units).scaleb(-places, _WIDE)
