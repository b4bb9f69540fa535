"""Shares and balances of a trace: which part of what is suspect, and where every gram of it is."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple, Protocol

from app.shared.shares import percent
from app.tracing.spread import SCALE, Inflows, Spread, Takings, nearest

HAIR = SCALE // 10**9
"""A billionth of a gram: far more than rounding can lose, far less than anybody can weigh."""


class Traced(Protocol):
    """A unit in a balance."""

    @property
    def kind(self) -> str: ...
    @property
    def made_g(self) -> int: ...
    @property
    def left_g(self) -> int: ...
    @property
    def adjusted_g(self) -> int:
        """Sum of its adjustments, but for bags that came back."""


def stock_g(unit: Traced) -> int:
    """Add to what a unit was made with what was found in it later."""
    return unit.made_g + max(unit.adjusted_g, 0)


def forward_shares(order: Sequence[int], into: Inflows, suspects: Iterable[int]) -> Spread:
    """Share of each unit that came from the suspects: 1 in a suspect, else its inflow's mean."""
    seeds = dict.fromkeys(suspects, Fraction(1))
    takings = {unit: (taken,) for unit, taken in into.items() if unit not in seeds}
    return Spread(order, takings, seeds)


def green_content(
    order: Sequence[int], into: Inflows, green: Iterable[int], made_g: Mapping[int, int]
) -> Spread:
    """Grams of this green behind each gram of a unit: above 1 once roasting lost mass."""
    seeds = dict.fromkeys(green, Fraction(1))
    takings = {
        unit: (Takings(made_g[unit], taken.parts),)
        for unit, taken in into.items()
        if unit not in seeds
    }
    return Spread(order, takings, seeds)


def suspect_green(
    order: Sequence[int],
    into: Inflows,
    suspects: Iterable[int],
    made_g: Mapping[int, int],
    behind: Inflows,
) -> Spread:
    """Grams of green behind each gram of a unit by way of the suspects, themselves of `behind`.

    Each unit the suspects were made of stands in this spread a second time, as the complement
    of its number, with all the green behind it and not only that of suspects.
    """
    start = set(suspects)
    takings = {
        unit: (Takings(made_g[unit], taken.parts),)
        for unit, taken in into.items()
        if unit not in start
    }
    for unit, taken in behind.items():
        parts = [(~source, grams) for source, grams in taken.parts]
        takings[~unit] = (Takings(made_g[unit], parts),)
    for unit in start:
        takings[unit] = (Takings(1, [(~unit, 1)]),)
    ancestry = {source for taken in behind.values() for source, _ in taken.parts}
    ancestry.update(start, behind)
    seeds = {~unit: Fraction(1) for unit in ancestry if unit not in behind}
    return Spread([*(~unit for unit in sorted(ancestry)), *order], takings, seeds)


def backward_shares(order: Sequence[int], into: Inflows, asked_g: Mapping[int, int]) -> Spread:
    """Part of the asked units' mass that came through each unit.

    `order` runs from the youngest to the oldest; `asked_g` is the mass of each asked unit.
    """
    whole_g = sum(asked_g.values())
    seeds = {unit: Fraction(grams, whole_g) for unit, grams in asked_g.items()}
    given: dict[int, dict[int, list[tuple[int, int]]]] = defaultdict(lambda: defaultdict(list))
    for target, taken in into.items():
        for source, grams in taken.parts:
            given[source][taken.whole].append((target, grams))
    takings = {
        unit: [Takings(whole, parts) for whole, parts in each.items()]
        for unit, each in given.items()
    }
    return Spread(order, takings, seeds)


def backward_content(
    order: Sequence[int], into: Inflows, asked: Iterable[int], units: Mapping[int, Traced]
) -> Spread:
    """Part of each unit's own mass that went into the asked units; all of an asked one."""
    seeds = dict.fromkeys(asked, Fraction(1))
    takings = {
        unit: (Takings(stock_g(units[unit]), parts),)
        for unit, parts in _outflows(into).items()
        if unit not in seeds
    }
    return Spread(order, takings, seeds)


def _outflows(into: Inflows) -> Mapping[int, list[tuple[int, int]]]:
    out: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for target, taken in into.items():
        for source, grams in taken.parts:
            out[source].append((target, grams))
    return out


class Kind(NamedTuple):
    """Which figure of the balance a kind of unit feeds with what is left and what was lost."""

    left: str
    lost: str | None


KINDS = {
    "lot": Kind("green_left", None),
    "sack": Kind("green_left", None),
    "roast": Kind("in_process", "roasting_loss"),
    "blend": Kind("in_process", None),
    "pack": Kind("packed_left", "packing_loss"),
    "return": Kind("packed_left", None),
    "dispatch": Kind("dispatched", None),
}
FIGURES = (
    "green_left", "roasting_loss", "in_process", "packing_loss", "packed_left", "dispatched",
    "adjusted",
)  # fmt: skip


class Sent(NamedTuple):
    """Bags of one pack in one dispatch, and what came back of them."""

    dispatch: int
    pack: int
    bags: int
    grams: int
    back_bags: int
    back_g: int


class Balance(NamedTuple):
    """Where the suspect coffee is, in grams that add up, and the part accounted for."""

    received_g: int
    figures: Mapping[str, int]
    accounted_pct: Decimal


def forward_balance(
    units: Mapping[int, Traced],
    into: Inflows,
    shares: Spread,
    suspects: Iterable[int],
    lines: Iterable[Sent],
) -> Balance:
    """Account for everything the suspects were, pro rata.

    A suspect counts as received with the part of it that did not come from another suspect. What
    left is counted by the bags of each pack, since bags do not mix on the road.
    """
    start = set(suspects)
    low = {unit: shares.bounds[unit][0] for unit in units}
    sums: dict[str, int] = dict.fromkeys(FIGURES, 0)
    received = 0
    for unit, traced in units.items():
        if traced.kind == "dispatch":
            continue
        share = came = low[unit]
        inflow = into.get(unit)
        if unit in start:
            came = _mean(inflow, low) if inflow else 0
            received += (SCALE - came) * traced.made_g
        kind = KINDS[traced.kind]
        sums[kind.left] += share * traced.left_g
        sums["adjusted"] -= share * traced.adjusted_g
        if kind.lost is not None and inflow is not None:
            sums[kind.lost] += came * (inflow.whole - traced.made_g)
    for line in lines:
        before = low.get(line.pack, 0)
        out_g = line.grams - line.back_g
        suspect = line.dispatch in start
        sums["dispatched"] += (SCALE if suspect else before) * out_g
        received += (SCALE - before) * out_g if suspect else 0
    return _balance(received, nearest(received, SCALE), sums)


def _mean(taken: Takings, low: Mapping[int, int]) -> int:
    return sum(low.get(source, 0) * grams for source, grams in taken.parts) // taken.whole


def backward_balance(
    units: Mapping[int, Traced],
    into: Inflows,
    content: Spread,
    asked: Iterable[int],
) -> Balance:
    """Account for the green behind the asked units: lost on the way, or held by them.

    What went from one asked unit into another counts once, in the younger. Coffee found in a
    unit was never received: it is an adjustment below zero.
    """
    start = set(asked)
    low = {unit: content.bounds[unit][0] for unit in units}
    outflows = _outflows(into)
    sums: dict[str, int] = dict.fromkeys((*FIGURES, "asked"), 0)
    roots_g: dict[int, int] = {}
    received = 0
    for unit, traced in units.items():
        part = used = low[unit]
        if unit in start:
            used = _mean(Takings(stock_g(traced), outflows.get(unit, ())), low)
            sums["asked"] += (SCALE - used) * traced.made_g
        sums["adjusted"] -= used * (stock_g(traced) - traced.made_g)
        inflow = into.get(unit)
        if inflow is None:
            roots_g[unit] = traced.made_g
            received += part * traced.made_g
            continue
        lost = KINDS[traced.kind].lost
        if lost is not None:
            sums[lost] += part * (inflow.whole - traced.made_g)
    return _balance(received, content.total(roots_g), sums)


def _balance(received: int, received_g: int, sums: Mapping[str, int]) -> Balance:
    """Round a balance; where it closes, its figures add up to the very grams received."""
    accounted = sum(sums.values())
    if abs(accounted - received) < HAIR:
        return Balance(received_g, close(sums, received_g), Decimal("100.0"))
    figures = close(sums, nearest(accounted, SCALE))
    return Balance(received_g, figures, percent(accounted, received))


def close(parts: Mapping[str, int], total: int) -> dict[str, int]:
    """Round parts given in 10**50ths to integers that add up to their rounded total.

    Every part is rounded down and what is left goes to the largest remainders, so that
    somebody who adds up the shown figures finds the shown sum.
    """
    floors = {name: part // SCALE for name, part in parts.items()}
    short = total - sum(floors.values())
    by_remainder = sorted(parts, key=lambda name: -(parts[name] % SCALE))
    for name in by_remainder[:short]:
        floors[name] += 1
    return floors
