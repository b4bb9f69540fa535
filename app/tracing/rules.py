"""Shares along a trace, exact to the digit that is shown.

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
from typing import NamedTuple

from app.shared.shares import PLACES, percent

SCALE = 10**50
"""The unit of an approximate share is one part in this many."""


class Edge(NamedTuple):
    """`part`/`whole` of what unit `other` has comes on."""

    other: int
    part: int
    whole: int


class Bound(NamedTuple):
    """A number between `low` and `low + slack`, both in 10**50ths."""

    low: int
    slack: int


NOTHING = Bound(0, 0)


class Spread:
    """A quantity that starts in some units and is passed on along edges.

    `value(u) = seed(u) + Σ value(other) · part / whole` over the edges of `u`; `order` lists
    the units so that every unit comes after the others its edges name.
    """

    def __init__(
        self,
        order: Sequence[int],
        edges: Mapping[int, Sequence[Edge]],
        seeds: Mapping[int, Fraction],
    ) -> None:
        self._order = order
        self._edges = edges
        self._seeds = seeds
        self._exact: dict[int, Fraction] = {}
        self.bounds: dict[int, Bound] = {}
        for unit in order:
            self.bounds[unit] = self._bound(unit)

    def _bound(self, unit: int) -> Bound:
        seed = self._seeds.get(unit)
        low, slack = _divide(seed.numerator * SCALE, 0, seed.denominator) if seed else NOTHING
        sums: dict[int, list[int]] = {}
        for other, part, whole in self._edges.get(unit, ()):
            other_low, other_slack = self.bounds.get(other, NOTHING)
            total = sums.setdefault(whole, [0, 0])
            total[0] += other_low * part
            total[1] += other_slack * part
        for whole, (sum_low, sum_slack) in sums.items():
            more_low, more_slack = _divide(sum_low, sum_slack, whole)
            low += more_low
            slack += more_slack
        return Bound(low, slack)

    def exact(self, unit: int) -> Fraction:
        """Compute one unit's value as a fraction, visiting what it depends on once."""
        if unit in self._exact:
            return self._exact[unit]
        needed = {unit}
        for each in reversed(self._order):
            if each in needed and each not in self._exact:
                needed.update(edge.other for edge in self._edges.get(each, ()))
        for each in self._order:
            if each in needed and each not in self._exact:
                value = self._seeds.get(each, Fraction(0))
                for other, part, whole in self._edges.get(each, ()):
                    value += self._exact.get(other, Fraction(0)) * Fraction(part, whole)
                self._exact[each] = value
        return self._exact[unit]

    def percent(self, unit: int) -> Decimal:
        """Show one unit's value in per cent, right to the last digit."""
        low, slack = self.bounds[unit]
        shown = percent(low, SCALE, PLACES)
        if slack == 0 or shown == percent(low + slack, SCALE, PLACES):
            return shown
        value = self.exact(unit)
        return percent(value.numerator, value.denominator, PLACES)

    def grams(self, unit: int, of_g: int) -> int:
        """Multiply one unit's value with a mass, to the nearest gram, half to even."""
        low, slack = self.bounds[unit]
        shown = nearest(low * of_g, SCALE)
        if slack == 0 or shown == nearest((low + slack) * of_g, SCALE):
            return shown
        value = self.exact(unit) * of_g
        return nearest(value.numerator, value.denominator)


def _divide(low: int, slack: int, whole: int) -> Bound:
    quotient, rest = divmod(low, whole)
    return Bound(quotient, -(-slack // whole) + (1 if rest else 0))


def nearest(part: int, whole: int) -> int:
    """Divide to the nearest integer, half to even."""
    quotient, rest = divmod(part, whole)
    if rest * 2 > whole or (rest * 2 == whole and quotient % 2):
        quotient += 1
    return quotient


Flows = Iterable[tuple[int, int, int]]
"""Source, target, grams."""


def forward_shares(order: Sequence[int], flows: Flows, suspects: Iterable[int]) -> Spread:
    """Share of each unit that came from the suspects: 1 in a suspect, else its inflow's mean."""
    seeds = {unit: Fraction(1) for unit in suspects}
    inflow_g, inflows = _inflows(flows)
    edges = {
        target: [Edge(source, grams, inflow_g[target]) for source, grams in sources]
        for target, sources in inflows.items()
        if target not in seeds
    }
    return Spread(order, edges, seeds)


def green_content(
    order: Sequence[int], flows: Flows, suspects: Iterable[int], made_g: Mapping[int, int]
) -> Spread:
    """Grams of suspect green behind each gram of a unit: above 1 once roasting lost mass."""
    seeds = {unit: Fraction(1) for unit in suspects}
    edges: dict[int, list[Edge]] = defaultdict(list)
    for source, target, grams in flows:
        if target not in seeds:
            edges[target].append(Edge(source, grams, made_g[target]))
    return Spread(order, edges, seeds)


def backward_shares(
    order: Sequence[int], flows: Sequence[tuple[int, int, int]], asked_g: Mapping[int, int]
) -> Spread:
    """Part of the asked units' mass that came through each unit.

    `order` runs from the youngest to the oldest; `asked_g` is the mass of each asked unit.
    """
    whole_g = sum(asked_g.values())
    seeds = {unit: Fraction(grams, whole_g) for unit, grams in asked_g.items()}
    inflow_g, _ = _inflows(flows)
    edges: dict[int, list[Edge]] = defaultdict(list)
    for source, target, grams in flows:
        edges[source].append(Edge(target, grams, inflow_g[target]))
    return Spread(order, edges, seeds)


def backward_content(
    order: Sequence[int], flows: Flows, asked: Iterable[int], made_g: Mapping[int, int]
) -> Spread:
    """Part of each unit's own mass that went into the asked units."""
    seeds = {unit: Fraction(1) for unit in asked}
    edges: dict[int, list[Edge]] = defaultdict(list)
    for source, target, grams in flows:
        if source not in seeds:
            edges[source].append(Edge(target, grams, made_g[source]))
    return Spread(order, edges, seeds)


def _inflows(flows: Flows) -> tuple[dict[int, int], dict[int, list[tuple[int, int]]]]:
    inflow_g: dict[int, int] = defaultdict(int)
    inflows: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for source, target, grams in flows:
        inflow_g[target] += grams
        inflows[target].append((source, grams))
    return inflow_g, inflows


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


class Traced(NamedTuple):
    """A unit in a balance."""

    kind: str
    made_g: int
    left_g: int
    adjusted_g: int
    """Sum of its adjustments, but for bags that came back."""


class SentLine(NamedTuple):
    """Bags of one pack in one dispatch that have not come back."""

    dispatch: int
    pack: int
    out_g: int


class Balance(NamedTuple):
    """Where the suspect coffee is, in grams that add up, and the part accounted for."""

    received_g: int
    figures: Mapping[str, int]
    accounted_pct: Decimal


def forward_balance(
    units: Mapping[int, Traced],
    flows: Sequence[tuple[int, int, int]],
    shares: Spread,
    suspects: Iterable[int],
    lines: Iterable[SentLine],
) -> Balance:
    """Account for everything the suspects were, pro rata.

    A suspect counts as received with the part of it that did not come from another suspect. What
    left is counted by the bags of each pack, since bags do not mix on the road.
    """
    start = set(suspects)
    low = {unit: shares.bounds[unit].low for unit in units}
    inflow_g, inflows = _inflows(flow for flow in flows if flow[1] in units)
    sums: dict[str, int] = dict.fromkeys(FIGURES, 0)
    received = 0
    for unit, traced in units.items():
        if traced.kind == "dispatch":
            continue
        came = _mean_low(inflows.get(unit, ()), low, inflow_g.get(unit, 0))
        if unit in start:
            received += (SCALE - came) * traced.made_g
        sums[KINDS[traced.kind].left] += low[unit] * traced.left_g
        sums["adjusted"] -= low[unit] * traced.adjusted_g
        lost = KINDS[traced.kind].lost
        if lost is not None and unit in inflow_g:
            sums[lost] += came * (inflow_g[unit] - traced.made_g)
    for line in lines:
        before = low.get(line.pack, 0)
        suspect = line.dispatch in start
        sums["dispatched"] += (SCALE if suspect else before) * line.out_g
        received += (SCALE - before) * line.out_g if suspect else 0
    return _balance(received, sums)


def _mean_low(sources: Iterable[tuple[int, int]], low: Mapping[int, int], inflow_g: int) -> int:
    return sum(low.get(source, 0) * grams for source, grams in sources) // (inflow_g or 1)


def backward_balance(
    units: Mapping[int, Traced],
    flows: Sequence[tuple[int, int, int]],
    content: Spread,
    asked: Iterable[int],
) -> Balance:
    """Account for the green behind the asked units: lost on the way, or held by them."""
    start = set(asked)
    low = {unit: content.bounds[unit].low for unit in units}
    inflow_g, _ = _inflows(flows)
    sums: dict[str, int] = dict.fromkeys((*FIGURES, "asked"), 0)
    received = 0
    for unit, traced in units.items():
        if unit in start:
            sums["asked"] += SCALE * traced.made_g
        if unit not in inflow_g:
            received += low[unit] * traced.made_g
            continue
        lost = KINDS[traced.kind].lost
        if lost is not None:
            sums[lost] += low[unit] * (inflow_g[unit] - traced.made_g)
    return _balance(received, sums)


def _balance(received: int, sums: Mapping[str, int]) -> Balance:
    accounted = sum(sums.values())
    pct = percent(accounted, received) if received else Decimal("100.0")
    return Balance(nearest(received, SCALE), close(sums), pct)


def close(parts: Mapping[str, int]) -> dict[str, int]:
    """Round parts given in 10**50ths to integers so that they still add up.

    Every part is rounded down and what is left goes to the largest remainders, so that
    somebody who adds up the shown figures finds the shown sum.
    """
    floors = {name: part // SCALE for name, part in parts.items()}
    short = nearest(sum(parts.values()), SCALE) - sum(floors.values())
    by_remainder = sorted(parts, key=lambda name: -(parts[name] % SCALE))
    for name in by_remainder[:short]:
        floors[name] += 1
    return floors
