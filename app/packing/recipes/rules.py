"""Holding a blend against its recipe: shares of roasted mass, exactly."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Final, NamedTuple

from app.shared.names import fold_name
from app.shared.shares import percent

WHOLE_MILLI: Final = 100_000
"""A hundred per cent in thousandths of one."""

REWORK: Final = "rework"
"""Roasted coffee used again: no component, and counted apart from them."""


class Component(NamedTuple):
    """A coffee of a recipe and its share of the components, in thousandths of a per cent."""

    name: str
    share_milli: int


class Off(NamedTuple):
    """A share that is not what the recipe says, all in per cent."""

    component: str
    share_pct: Decimal
    wanted_pct: Decimal
    tolerance: Decimal


def off_recipe(
    filled: Mapping[str, int],
    components: Sequence[Component],
    tolerance_milli: int,
    rework_milli: int,
) -> list[Off]:
    """Name what is off in a blend of so many grams by folded component; tolerances are included.

    Shares of components are of what is no rework; rework is a share of the whole.
    """
    rework_g = filled.get(REWORK, 0)
    whole_g = sum(filled.values())
    coffee_g = whole_g - rework_g
    found = []
    for component in components:
        grams = filled.get(fold_name(component.name), 0)
        off = abs(grams * WHOLE_MILLI - component.share_milli * coffee_g)
        if coffee_g == 0 or off > tolerance_milli * coffee_g:
            found.append(Off(
                component.name, percent(grams, coffee_g) if coffee_g else Decimal(0),
                per_cent(component.share_milli), per_cent(tolerance_milli),
            ))  # fmt: skip
    if rework_g * WHOLE_MILLI > rework_milli * whole_g:
        found.append(Off(REWORK, percent(rework_g, whole_g), Decimal(0), per_cent(rework_milli)))
    return found


def round_trip(made_of: Mapping[str, Sequence[str]], start: str) -> list[str] | None:
    """Find a way from a recipe through what it is made of back to it, by folded names."""
    ways = [[start, name] for name in made_of.get(start, ())]
    seen: set[str] = set()
    while ways:
        way = ways.pop()
        if way[-1] == start:
            return way
        if way[-1] not in seen:
            seen.add(way[-1])
            ways += [[*way, name] for name in made_of.get(way[-1], ())]
    return None


def per_cent(thousandths: int) -> Decimal:
    """Write thousandths of a per cent as per cent."""
    return percent(thousandths, WHOLE_MILLI)
