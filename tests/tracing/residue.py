"""Possible contact counted by hand: every pair of runs and of stays, by the definition alone."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import networkx as nx


@dataclass(frozen=True)
class Spell:
    """Coffee on a machine for a moment, or in a place from one hour to another, all in hours."""

    where: str
    unit: str
    came: int
    number: int
    """Of two that came in one hour the lower was first."""
    went: float


@dataclass
class Notebook:
    """What happened in a small roastery."""

    flows: list[tuple[str, str]] = field(default_factory=list)
    units: set[str] = field(default_factory=set)
    runs: list[Spell] = field(default_factory=list)
    stays: list[Spell] = field(default_factory=list)
    cleaned: list[tuple[str, int]] = field(default_factory=list)
    windows: dict[str, tuple[int, int | None]] = field(default_factory=dict)

    def contact(self, start: str, *, forward: bool, hops: int) -> Mapping[str, int]:
        """Say how many hops away each unit of possible contact is."""
        graph: nx.DiGraph[str] = nx.DiGraph()
        graph.add_nodes_from(self.units)
        graph.add_edges_from(self.flows)
        beyond = nx.descendants if forward else nx.ancestors
        near = {pair if forward else pair[::-1] for pair in self.pairs}
        seen = {start, *beyond(graph, start)}
        front, found = set(seen), {}
        for hop in range(1, hops + 1):
            touched = {two for one, two in near if one in front} - seen
            new = touched.union(*(beyond(graph, unit) for unit in touched)) - seen
            found.update(dict.fromkeys(new, hop))
            seen |= new
            front = new
        return found

    @cached_property
    def pairs(self) -> set[tuple[str, str]]:
        """Each unit with each other one that a rest of it may be in, once all is noted down."""
        return set(self._pairs())

    def _pairs(self) -> Iterator[tuple[str, str]]:
        for one in self.runs:
            for two in self.runs:
                if one.where == two.where and _follows(one, two) and self._run(one, two):
                    yield one.unit, two.unit
        for one in self.stays:
            for two in self.stays:
                if one.where == two.where and one is not two and self._stay(one, two):
                    yield one.unit, two.unit

    def _run(self, one: Spell, two: Spell) -> bool:
        between = [
            each
            for each in self.runs
            if each.where == one.where and _follows(one, each) and _follows(each, two)
        ]
        return self._within(one, two, len(between) + 1)

    def _stay(self, one: Spell, two: Spell) -> bool:
        if two.came > one.went:
            nth = [
                each
                for each in self.stays
                if each.where == one.where and each.came > one.went and not _follows(two, each)
            ]
            return self._within(one, two, len(nth))
        if one.came > two.went:
            return False
        if one.went == two.came and (one.where, two.came) in self.cleaned:
            return False
        return not (two.went == one.came and (one.where, one.came) in self.cleaned)

    def _within(self, one: Spell, two: Spell, nth: int) -> bool:
        runs, hours = self.windows[one.where]
        cleaned = any(
            where == one.where and one.went <= at <= two.came for where, at in self.cleaned
        )
        return nth <= runs and (hours is None or two.came - one.went <= hours) and not cleaned


def _follows(one: Spell, two: Spell) -> bool:
    return (one.came, one.number) < (two.came, two.number)
