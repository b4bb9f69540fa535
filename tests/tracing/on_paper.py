"""A roastery on paper: the same questions answered slowly, with fractions and flow by flow."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from app.tracing.rules import Sent

LEFT = {
    "lot": "green_left", "sack": "green_left", "roast": "in_process", "blend": "in_process",
    "pack": "packed_left", "return": "packed_left",
}  # fmt: skip
LOST = {"roast": "roasting_loss", "pack": "packing_loss"}


class Coffee(NamedTuple):
    """A unit."""

    kind: str
    made_g: int
    left_g: int
    adjusted_g: int


@dataclass
class Roastery:
    """Units and flows that could be in a book, numbered from the oldest."""

    units: dict[int, Coffee] = field(default_factory=dict)
    flows: list[tuple[int, int, int]] = field(default_factory=list)
    back_g: Counter[tuple[int, int]] = field(default_factory=Counter)
    """What came back, by dispatch and pack."""

    def lines(self) -> list[Sent]:
        """Name what each dispatch was sent of each unit, and what came back of it."""
        return [
            Sent(target, source, 0, grams, 0, self.back_g[target, source])
            for source, target, grams in self.flows
            if self.units[target].kind == "dispatch"
        ]

    def made_g(self) -> dict[int, int]:
        return {unit: coffee.made_g for unit, coffee in self.units.items()}

    def sources(self, unit: int) -> list[tuple[int, int]]:
        return [(source, grams) for source, target, grams in self.flows if target == unit]

    def targets(self, unit: int) -> list[tuple[int, int]]:
        return [(target, grams) for source, target, grams in self.flows if source == unit]

    def inflow_g(self, unit: int) -> int:
        return sum(grams for _, grams in self.sources(unit))

    def came(self, unit: int, shares: Mapping[int, Fraction]) -> Fraction:
        """Average the shares of what went into a unit."""
        sources = self.sources(unit)
        whole = sum((shares[source] * grams for source, grams in sources), Fraction(0))
        return whole / (self.inflow_g(unit) or 1)


def shares_forward(roastery: Roastery, suspects: set[int]) -> dict[int, Fraction]:
    """Share of each unit that came from the suspects."""
    shares: dict[int, Fraction] = {}
    for unit in roastery.units:
        shares[unit] = Fraction(1) if unit in suspects else roastery.came(unit, shares)
    return shares


def shares_backward(roastery: Roastery, asked: set[int]) -> dict[int, Fraction]:
    """Part of the asked units' mass that came through each unit."""
    whole_g = sum(roastery.units[unit].made_g for unit in asked)
    shares: dict[int, Fraction] = {}
    for unit in reversed(roastery.units):
        own = roastery.units[unit].made_g if unit in asked else 0
        shares[unit] = Fraction(own, whole_g)
        for target, grams in roastery.targets(unit):
            shares[unit] += shares[target] * Fraction(grams, roastery.inflow_g(target))
    return shares


def content_backward(roastery: Roastery, asked: set[int]) -> dict[int, Fraction]:
    """Part of each unit's own mass that went into the asked units."""
    content: dict[int, Fraction] = {}
    for unit in reversed(roastery.units):
        coffee = roastery.units[unit]
        stock = coffee.made_g + max(coffee.adjusted_g, 0)
        gone = sum(
            (content[target] * grams for target, grams in roastery.targets(unit)), Fraction(0)
        )
        content[unit] = Fraction(1) if unit in asked else gone / stock
    return content


def balance_forward(roastery: Roastery, suspects: set[int]) -> tuple[Fraction, dict[str, Fraction]]:
    """Say what the suspects weighed and where that is."""
    shares = shares_forward(roastery, suspects)
    figures: dict[str, Fraction] = defaultdict(Fraction)
    received = Fraction(0)
    for unit, coffee in roastery.units.items():
        if coffee.kind == "dispatch":
            continue
        came = roastery.came(unit, shares)
        figures[LEFT[coffee.kind]] += shares[unit] * coffee.left_g
        figures["adjusted"] -= shares[unit] * coffee.adjusted_g
        if coffee.kind in LOST:
            figures[LOST[coffee.kind]] += came * (roastery.inflow_g(unit) - coffee.made_g)
        if unit in suspects:
            received += (1 - came) * coffee.made_g
    for line in roastery.lines():
        out_g = line.grams - line.back_g
        share = Fraction(1) if line.dispatch in suspects else shares[line.pack]
        figures["dispatched"] += share * out_g
        received += (share - shares[line.pack]) * out_g
    return received, figures
