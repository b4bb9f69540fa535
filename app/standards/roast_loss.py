"""Roasting loss: how much of what a roast lost was water, and how much was dry matter.

A charge of green brings water in, what is left of it goes out with the roasted coffee, and the rest
of the loss was dry matter: chaff, gases and what broke off. Masses are whole grams and moistures
whole thousandths of a per cent, wet basis, so everything here is an exact part of a whole.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

_WHOLE_MILLI: Final = 100_000
"""A hundred per cent in thousandths of one."""


class Part(NamedTuple):
    """So much of a whole."""

    part: int
    whole: int


class DryLoss(NamedTuple):
    """What became of the water and of the dry matter of a charge."""

    moisture: Part
    """Water in the charge: of its draws by mass, never a plain average."""
    organic: Part
    """Dry matter lost, of the dry matter of the charge."""
    water: Part | None
    """Water lost, of all that was lost; None where nothing was."""


def dry_loss(draws: Iterable[tuple[int, int]], end_g: int, roasted_milli: int) -> DryLoss:
    """Split the loss of a roast by the grams and moistures of its draws and of what came out.

    Raises:
        ValueError: when a draw has no dry matter.
    """
    charge_g = water_before = 0
    for grams, milli in draws:
        if not 0 <= milli < _WHOLE_MILLI:
            raise ValueError(f"{milli} thousandths of a per cent leave no dry matter")
        charge_g += grams
        water_before += grams * milli
    charge, end = charge_g * _WHOLE_MILLI, end_g * _WHOLE_MILLI
    water_after = end_g * roasted_milli
    dry_before, dry_after = charge - water_before, end - water_after
    return DryLoss(
        Part(water_before, charge),
        Part(dry_before - dry_after, dry_before),
        Part(water_before - water_after, charge - end) if charge != end else None,
    )
