"""Roasteries that act at random, through the API, and every trace of them checked on paper."""

import random
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Any

import networkx as nx
import pytest

from tests.api import Api
from tests.makers import blend, dispatch, furnish, pack, receive, roast
from tests.tracing.flowing import assert_closes, assert_ends_as_balanced
from tests.tracing.on_paper import (
    Coffee,
    Roastery,
    balance_forward,
    content_backward,
    shares_backward,
    shares_forward,
)

ACTS = 60
BAG_G = 250


def kilograms(grams: int) -> Decimal:
    return Decimal(grams).scaleb(-3)


class Apprentice:
    """Does at random what a roastery does, and writes it down on paper."""

    def __init__(self, api: Api, seed: int) -> None:
        self.api = api
        self.random = random.Random(seed)  # noqa: S311 - the same roastery every time
        self.paper = Roastery()
        self.code: dict[int, str] = {}
        self.came_back: dict[int, list[int]] = {}
        """The returns of each dispatch."""
        furnish(api)
        for _ in range(3):
            self.receive()

    def work(self) -> None:
        acts: list[Callable[[], None]] = [
            self.receive, self.roast, self.roast, self.roast, self.blend, self.blend, self.pack,
            self.pack, self.dispatch, self.dispatch, self.take_back, self.adjust, self.void,
        ]  # fmt: skip
        for _ in range(ACTS):
            self.random.choice(acts)()

    def receive(self) -> None:
        weights = [self.random.randint(20_000, 60_000) for _ in range(self.random.randint(1, 3))]
        arrived = receive(self.api, *map(kilograms, weights))
        lot = self._write(arrived["code"], "lot", sum(weights), {})
        for sack, grams in zip(arrived["sacks"], weights, strict=True):
            self._write(sack["code"], "sack", grams, {lot: grams})

    def roast(self) -> None:
        parts = self._some(15_000, "sack")
        if parts:
            charge_g = sum(parts.values())
            end_g = max(1, charge_g * self.random.randint(780, 900) // 1000)
            draws = {self.code[unit]: kilograms(grams) for unit, grams in parts.items()}
            made = roast(self.api, draws, kilograms(end_g), loss_range_pct=[0, 100])
            self._write(made["code"], "roast", end_g, parts)

    def blend(self) -> None:
        parts = self._some(9_000, "roast", "blend")
        if parts:
            named = {self.code[unit]: kilograms(grams) for unit, grams in parts.items()}
            made = blend(self.api, named)
            self._write(made["code"], "blend", sum(parts.values()), parts)

    def pack(self) -> None:
        parts = self._some(9_000, "roast", "blend")
        bags = sum(parts.values()) // BAG_G
        if bags:
            named = {self.code[unit]: kilograms(grams) for unit, grams in parts.items()}
            made = pack(self.api, named, bags)
            self._write(made["code"], "pack", bags * BAG_G, parts)

    def dispatch(self) -> None:
        parts = {
            unit: grams // BAG_G * BAG_G
            for unit, grams in self._some(5_000, "pack").items()
            if grams >= BAG_G
        }
        if parts:
            bags = {self.code[unit]: grams // BAG_G for unit, grams in parts.items()}
            made = dispatch(self.api, bags)
            self._write(made["code"], "dispatch", sum(parts.values()), parts)

    def take_back(self) -> None:
        out = [line for line in self.paper.lines() if line.grams > line.back_g]
        if not out:
            return
        line = self.random.choice(out)
        grams = self.random.randint(1, (line.grams - line.back_g) // BAG_G) * BAG_G
        made = self.api.post("/returns", {
            "dispatch": self.code[line.dispatch], "reason": "at random",
            "lines": [{"pack": self.code[line.pack], "bags": grams // BAG_G}],
        })  # fmt: skip
        # Back into the pack and out of it again: what is left of the pack stays as it was.
        self._change(line.pack, grams)
        self._change(line.dispatch, -grams)
        self.paper.back_g[line.dispatch, line.pack] += grams
        back = self._write(made["code"], "return", grams, {line.pack: grams})
        self.came_back.setdefault(line.dispatch, []).append(back)
        self.api.post(f"/holds/{made['hold']}/release", {"reason": "sound"})

    def adjust(self) -> None:
        unit = self._pick("sack", "roast", "blend")
        if unit is None:
            return
        grams = self.random.randint(-self.paper.units[unit].left_g // 3, 500) or 1
        reason = self.random.choice(["sample", "spill", "count"])
        body = {"unit": self.code[unit], "kg": kilograms(grams), "reason": reason}
        self.api.post("/adjustments", body)
        coffee = self.paper.units[unit]
        adjusted_g = coffee.adjusted_g + grams
        self.paper.units[unit] = coffee._replace(adjusted_g=adjusted_g)
        self._change(unit, grams)

    def void(self) -> None:
        unit = self._pick("roast", "blend", "pack", "dispatch")
        if unit is None or self.paper.targets(unit) or self.came_back.get(unit):
            return
        self.api.post(f"/units/{self.code[unit]}/void", {"reason": "at random"})
        for source, grams in self.paper.sources(unit):
            self._change(source, grams)
        self.paper.flows = [flow for flow in self.paper.flows if flow[1] != unit]
        del self.paper.units[unit]

    def _some(self, most_g: int, *kinds: str) -> dict[int, int]:
        """Draw from one to three units that have something."""
        full = [
            unit
            for unit, coffee in self.paper.units.items()
            if coffee.kind in kinds and coffee.left_g > 0
        ]
        chosen = self.random.sample(full, min(len(full), self.random.randint(1, 3)))
        return {
            unit: self.random.randint(1, min(self.paper.units[unit].left_g, most_g))
            for unit in chosen
        }

    def _pick(self, *kinds: str) -> int | None:
        there = [
            unit
            for unit, coffee in self.paper.units.items()
            if coffee.kind in kinds and coffee.left_g > 2
        ]
        return self.random.choice(there) if there else None

    def _write(self, code: str, kind: str, made_g: int, parts: dict[int, int]) -> int:
        unit = len(self.code) + 1
        self.code[unit] = code
        self.paper.units[unit] = Coffee(kind, made_g, made_g, 0)
        for source, grams in parts.items():
            self.paper.flows.append((source, unit, grams))
            self._change(source, -grams)
        return unit

    def _change(self, unit: int, grams: int) -> None:
        coffee = self.paper.units[unit]
        self.paper.units[unit] = coffee._replace(left_g=coffee.left_g + grams)


@pytest.fixture(params=[1, 2])
def apprentice(api: Api, request: pytest.FixtureRequest) -> Apprentice:
    worker = Apprentice(api, request.param)
    worker.work()
    return worker


def grams(kg: Decimal) -> int:
    return int(kg * 1000)


def figures_of(answer: Any) -> Iterator[tuple[str, int]]:
    for name, kg in answer["balance"].items():
        if name.endswith("_kg") and name != "received_kg":
            yield name.removesuffix("_kg"), grams(kg)


def assert_forward(apprentice: Apprentice, unit: int, graph: "nx.DiGraph[int]") -> None:
    paper, code = apprentice.paper, apprentice.code
    suspects = {unit, *apprentice.came_back.get(unit, ())}
    shares = shares_forward(paper, suspects)

    answer = apprentice.api.get(f"/trace/{code[unit]}")

    shown = {each["code"]: each for each in answer["units"]}
    reached = suspects.union(*(nx.descendants(graph, each) for each in suspects))
    assert list(shown) == [code[each] for each in sorted(reached)]
    for each in reached:
        coffee = paper.units[each]
        told = shown[code[each]]
        assert (grams(told["made_kg"]), grams(told["left_kg"])) == (coffee.made_g, coffee.left_g)
        assert Fraction(told["share_pct"]) == round(100 * shares[each], 6)
        assert grams(told["suspect_kg"]) == round(shares[each] * coffee.made_g)
    received, figures = balance_forward(paper, suspects)
    told_figures = dict(figures_of(answer))
    assert sum(told_figures.values()) == grams(answer["balance"]["received_kg"]) == received
    assert all(abs(told - figures[name]) < 1 for name, told in told_figures.items())
    assert answer["balance"]["accounted_pct"] == 100
    assert_customers(answer, paper, suspects)
    assert_flows(apprentice, unit, answer)


def assert_customers(answer: Any, paper: Roastery, suspects: set[int]) -> None:
    shares = shares_forward(paper, suspects)
    sent = [
        (line, Fraction(1) if line.dispatch in suspects else shares[line.pack])
        for line in paper.lines()
    ]
    reached = [(line, share) for line, share in sent if share]

    assert len(answer["customers"]) == bool(reached)  # there is one customer
    for customer in answer["customers"]:
        assert grams(customer["kg"]) == sum(line.grams for line, _ in reached)
        assert customer["bags"] * BAG_G == sum(line.grams for line, _ in reached)
        assert customer["returned_bags"] * BAG_G == sum(line.back_g for line, _ in reached)
        suspect = sum((share * line.grams for line, share in reached), Fraction(0))
        assert grams(customer["suspect_kg"]) == round(suspect)


def assert_backward(apprentice: Apprentice, unit: int, graph: "nx.DiGraph[int]") -> None:
    paper, code = apprentice.paper, apprentice.code
    shares, content = shares_backward(paper, {unit}), content_backward(paper, {unit})

    answer = apprentice.api.get(f"/trace/{code[unit]}?direction=backward")

    shown = {each["code"]: each for each in answer["units"]}
    reached = {unit, *nx.ancestors(graph, unit)}
    assert list(shown) == [code[each] for each in sorted(reached)]
    for each in reached:
        told = shown[code[each]]
        assert Fraction(told["share_pct"]) == round(100 * shares[each], 6)
        assert grams(told["suspect_kg"]) == round(content[each] * paper.units[each].made_g)
    lots = [each for each in reached if paper.units[each].kind == "lot"]
    received = sum((content[lot] * paper.units[lot].made_g for lot in lots), Fraction(0))
    told_figures = dict(figures_of(answer))
    received_g = grams(answer["balance"]["received_kg"])
    assert sum(told_figures.values()) == received_g == round(received)
    assert told_figures["asked"] == paper.units[unit].made_g
    assert sum(len(each["lots"]) for each in answer["suppliers"]) == len(lots)
    assert_flows(apprentice, unit, answer)


def assert_flows(apprentice: Apprentice, unit: int, answer: Any) -> None:
    if unit % 5 == 0:
        path = f"/trace/{apprentice.code[unit]}/flow?direction={answer['direction']}"
        flow = apprentice.api.get(path)
        assert_closes(flow)
        assert_ends_as_balanced(flow, answer["balance"])


def test_every_trace_of_a_random_roastery_is_the_one_on_paper(
    apprentice: Apprentice, book_is_sound: Callable[[], None]
) -> None:
    graph = nx.DiGraph()
    graph.add_nodes_from(apprentice.paper.units)
    graph.add_edges_from((source, target) for source, target, _ in apprentice.paper.flows)

    kinds = {coffee.kind for coffee in apprentice.paper.units.values()}
    assert kinds == {"lot", "sack", "roast", "blend", "pack", "dispatch", "return"}
    for unit in apprentice.paper.units:
        assert_forward(apprentice, unit, graph)
        assert_backward(apprentice, unit, graph)
    book_is_sound()


def test_sets_of_a_random_roastery_close_to_the_gram(apprentice: Apprentice) -> None:
    units = list(apprentice.paper.units)
    for _ in range(15):
        some = apprentice.random.sample(units, apprentice.random.randint(2, 5))
        for direction in ("forward", "backward"):
            named = [apprentice.code[unit] for unit in some]

            answer = apprentice.api.post("/trace", {"units": named, "direction": direction})

            told_figures = dict(figures_of(answer))
            received_g = grams(answer["balance"]["received_kg"])
            assert sum(told_figures.values()) == received_g
            assert answer["balance"]["accounted_pct"] == 100
            assert all(each["share_pct"] <= 100 for each in answer["units"])
            assert all(each["suspect_kg"] <= each["made_kg"] for each in answer["units"])
            if direction == "forward":
                returns = {b for unit in some for b in apprentice.came_back.get(unit, ())}
                received, figures = balance_forward(apprentice.paper, returns.union(some))
                assert abs(received_g - received) <= Fraction(1, 2)
                assert all(abs(told - figures[n]) < 1 for n, told in told_figures.items())
