"""A quantity spread along flows, exact to the digit that is shown.

Units are visited in id order, in which sources come before targets, so one pass is enough
at any depth and no path is ever listed. A share is a rational number whose exact form can have
thousands of digits after a long chain; it is kept as an integer in 10**50ths, rounded down,
beside a bound of what rounding took. Where the bound leaves a shown digit open, that one is
computed with exact fractions.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from app.shared.shares import PLACES, percent

SCALE = 10**50
"""The unit of an approximate share is one part in this many."""


class Takings(NamedTuple):
    """A unit takes `part`/`whole` of what each of some others has."""

    whole: int
    parts: Sequence[tuple[int, int]]
    """Other, part."""


Inflows = Mapping[int, Takings]
"""Of each unit that was made of others: their grams together, and each source with its grams."""


Bound = tuple[int, int]
"""`low` and `slack`: a number between `low` and `low + slack`, both in 10**50ths."""
NOTHING: Bound = (0, 0)


class Spread:
    """A quantity that starts in some units and is passed on.

    `value(u) = seed(u) + Σ value(other) · part / whole` over what `u` takes; `order` lists
    the units so that every unit comes after the others it takes from.
    """

    def __init__(
        self,
        order: Sequence[int],
        takings: Mapping[int, Sequence[Takings]],
        seeds: Mapping[int, Fraction],
    ) -> None:
        self._order = order
        self._takings = takings
        self._seeds = seeds
        self._exact: dict[int, Fraction] = {}
        self._place: dict[int, int] = {}
        self.bounds: dict[int, Bound] = {}
        for unit in order:
            self.bounds[unit] = self._bound(unit)

    def _bound(self, unit: int) -> Bound:
        low = slack = 0
        if unit in self._seeds:
            seed = self._seeds[unit]
            low, rest = divmod(seed.numerator * SCALE, seed.denominator)
            slack = 1 if rest else 0
        bounds = self.bounds
        for whole, parts in self._takings.get(unit, ()):
            sum_low = sum_slack = 0
            for other, part in parts:
                other_low, other_slack = bounds.get(other, NOTHING)
                sum_low += other_low * part
                sum_slack += other_slack * part
            quotient, rest = divmod(sum_low, whole)
            low += quotient
            slack += -(-sum_slack // whole) + (1 if rest else 0)
        return low, slack

    def exact(self, unit: int) -> Fraction:
        """Compute one unit's value as a fraction, visiting what it depends on once."""
        for each in self._unsettled(unit):
            value = self._seeds.get(each, Fraction(0))
            for whole, parts in self._takings.get(each, ()):
                for other, part in parts:
                    value += self._exact.get(other, Fraction(0)) * Fraction(part, whole)
            self._exact[each] = value
        return self._exact[unit]

    def _unsettled(self, unit: int) -> list[int]:
        """List what a unit's exact value waits for, itself last."""
        if not self._place:
            self._place = {each: place for place, each in enumerate(self._order)}
        found: set[int] = set()
        ahead = [unit]
        while ahead:
            each = ahead.pop()
            if each in self._place and each not in self._exact and each not in found:
                found.add(each)
                for _, parts in self._takings.get(each, ()):
                    ahead.extend(other for other, _ in parts)
        return sorted(found, key=self._place.__getitem__)

    def percent(self, unit: int) -> Decimal:
        """Show one unit's value in per cent, right to the last digit."""
        return _shown(self._times(unit, _STEPS))

    def grams(self, unit: int, of_g: int) -> int:
        """Multiply one unit's value with a mass, to the nearest gram, half to even."""
        return self._times(unit, of_g)

    def total(self, weights_g: Mapping[int, int]) -> int:
        """Add up units' values times a mass each, rounded once, half to even."""
        low = sum(self.bounds[unit][0] * grams for unit, grams in weights_g.items())
        slack = sum(self.bounds[unit][1] * grams for unit, grams in weights_g.items())
        shown = _settled(low, slack, SCALE)
        if shown is not None:
            return shown
        value = sum((self.exact(unit) * grams for unit, grams in weights_g.items()), Fraction(0))
        return nearest(value.numerator, value.denominator)

    def _times(self, unit: int, factor: int) -> int:
        low, slack = self.bounds[unit]
        shown = _settled(low * factor, slack * factor, SCALE)
        if shown is not None:
            return shown
        value = self.exact(unit) * factor
        return nearest(value.numerator, value.denominator)


_STEPS = 100 * 10**PLACES
"""Shown per cents are multiples of one part in this many."""


@lru_cache(maxsize=10_000)
def _shown(steps: int) -> Decimal:
    return percent(steps, _STEPS)


def grams_of_both(one: Spread, other: Spread, unit: int, of_g: int) -> int:
    """Multiply two values of one unit with a mass, to the nearest gram, half to even."""
    low, slack = one.bounds[unit]
    other_low, other_slack = other.bounds[unit]
    wider = slack * (other_low + other_slack) + low * other_slack
    shown = _settled(low * other_low * of_g, wider * of_g, SCALE * SCALE)
    if shown is not None:
        return shown
    value = one.exact(unit) * other.exact(unit) * of_g
    return nearest(value.numerator, value.denominator)


def _settled(low: int, slack: int, scale: int) -> int | None:
    """Divide to the nearest integer where the bound leaves no doubt of it."""
    quotient, rest = divmod(low, scale)
    top = 2 * (rest + slack)
    if top < scale:
        return quotient
    if 2 * rest > scale and top < 3 * scale:
        return quotient + 1
    return nearest(low, scale) if slack == 0 else None


def nearest(part: int, whole: int) -> int:
    """Divide to the nearest integer, half to even."""
    quotient, rest = divmod(part, whole)
    if rest * 2 > whole or (rest * 2 == whole and quotient % 2):
        quotient += 1
    return quotient


def inflows(flows: Iterable[tuple[int, int, int]]) -> dict[int, Takings]:
    """Gather flows (source, target, grams) by what they flowed into."""
    parts: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for source, target, grams in flows:
        parts[target].append((source, grams))
    return {target: Takings(sum([g for _, g in each]), each) for target, each in parts.items()}
