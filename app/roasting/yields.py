"""What green coffee gives roasted: exact ratios, as was weighed or else as is aimed at."""

from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from app.shared.shares import percent

WHOLE_MILLI = 100_000
"""A hundred per cent in thousandths of one."""


class Basis(StrEnum):
    """What a loss is read off."""

    MEASURED = "measured"
    """What was charged and what came out, of roasts that may be packed."""
    TARGET = "target"
    """What the style aims at."""
    HOUSE = "house"
    """The middle of the range the roastery expects of any roast."""


class Yield(NamedTuple):
    """So much roasted out of so much green, in any one unit."""

    roasted: int
    green: int
    basis: Basis
    roasts: int = 0
    """From how many roasts it was measured."""

    @property
    def loss_pct(self) -> Decimal:
        return percent(self.green - self.roasted, self.green)

    def green_for(self, roasted_g: Fraction | int) -> Fraction:
        """Say how much green gives so much roasted: it is divided by what stays."""
        return Fraction(roasted_g) * self.green / self.roasted

    def roasted_from(self, green_g: int) -> int:
        """Say what comes out of so much green, in whole grams that can be counted on."""
        return floor(Fraction(green_g) * self.roasted / self.green)


def by_target(loss_milli: int) -> Yield:
    """Take the loss a style aims at, in thousandths of a per cent."""
    return Yield(WHOLE_MILLI - loss_milli, WHOLE_MILLI, Basis.TARGET)


def by_house(limits: tuple[Decimal, Decimal]) -> Yield:
    """Take the middle of the range of the house, in per cent."""
    middle = sum(map(Fraction, limits), Fraction()) / 2
    stays = 1 - middle / 100
    return Yield(stays.numerator, stays.denominator, Basis.HOUSE)


class Batches(NamedTuple):
    """So many whole charges, and what they take and give."""

    charges: int
    charge_g: int
    green_g: int
    roasted_g: int
    exact: Fraction
    """How many charges it would be if they could be parted."""


def batches_for(roasted_g: Fraction | int, of: Yield, charge_g: int) -> Batches:
    """Say how many whole charges give so much roasted."""
    exact = of.green_for(roasted_g) / charge_g
    count = ceil(exact)
    green_g = count * charge_g
    return Batches(count, charge_g, green_g, of.roasted_from(green_g), exact)


def usual_charge(
    batch_g: int | None, capacity_g: int | None, usual_pct: tuple[Decimal, Decimal]
) -> int | None:
    """Take the style's charge, else the most of the drum that is usual; None where neither is."""
    if batch_g is not None:
        return batch_g
    if capacity_g is None:
        return None
    return floor(Fraction(usual_pct[1]) * capacity_g / 100) or None
