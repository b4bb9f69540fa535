"""Roasting loss: how much of what a roast lost was water, and how much was dry matter.

A charge of green brings water in, what is left of it goes out with the roasted coffee, and the rest
of the loss was dry matter: chaff, gases and what broke off. Everything here is an exact fraction.
"""

from fractions import Fraction
from typing import NamedTuple

from app.standards.moisture import Exact, dry_matter, water

_WHOLE = Fraction(100)


class DryLoss(NamedTuple):
    """What became of the dry matter of a charge."""

    organic_pct: Fraction
    """Loss of dry matter, in per cent of the dry matter of the charge."""
    water_share_pct: Fraction | None
    """How much of the mass lost was water, in per cent; None where nothing was lost."""


def dry_loss(charge: Exact, end: Exact, green_pct: Exact, roasted_pct: Exact) -> DryLoss:
    """Split the loss of a roast by the moistures, wet basis, before and after."""
    lost = Fraction(charge) - Fraction(end)
    water_lost = water(charge, green_pct) - water(end, roasted_pct)
    dry_before, dry_after = dry_matter(charge, green_pct), dry_matter(end, roasted_pct)
    return DryLoss(
        _WHOLE * (dry_before - dry_after) / dry_before,
        _WHOLE * water_lost / lost if lost else None,
    )
