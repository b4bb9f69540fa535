"""The history of a large source code repository as a book: any depth, any number of paths.

81,966 commits and who came of whom; how many ancestors and descendants they have was counted by
git itself. Between the first and the last lie 26,323 steps and a number of paths with 555 digits,
so whoever follows paths, or calls itself at every step, does not get there.
"""

import csv
import gzip
import json
from decimal import Context, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import networkx as nx
import pytest
from sqlalchemy import Engine

from app.ledger.checks import check_book
from app.ledger.walk import reach
from app.shared.db import reading
from app.tracing.schemas import Direction
from app.tracing.walk import walk
from tests.api import Api
from tests.tracing.loading import Network, book, code_of, unevenly

LEFT_G = 40
"""What stays in every commit."""
WALKED = 3
"""Of the commits that are counted, how many are walked with everything a trace reads."""


class Commits:
    """The graph, weighed and booked."""

    def __init__(self, engine: Engine, folder: Path) -> None:
        self.engine = engine
        self.network = _network(folder / "git_edges.csv.gz")
        self.grams = self.network.flows(LEFT_G, unevenly)
        self.number = book(engine, self.network, self.grams, LEFT_G)
        self.forward: Any = None

    def made_g(self, node: str) -> int:
        inputs = self.network.inputs[node]
        return sum(self.grams[source, node] for source in inputs)


def _network(file: Path) -> Network:
    with gzip.open(file, "rt") as lines:
        edges = [(row["parent"], row["child"]) for row in csv.DictReader(lines)]
    last = max(int(child) for _, child in edges)
    inputs: dict[str, list[str]] = {str(number): [] for number in range(1, last + 1)}
    for parent, child in edges:
        inputs[child].append(parent)
    return Network(inputs)


@pytest.fixture(scope="module")
def graphs(shared: Path) -> Path:
    return shared / "data" / "open" / "graph"


@pytest.fixture(scope="module")
def expected(graphs: Path) -> Any:
    return json.loads((graphs / "git_EXPECTED.json").read_text())


@pytest.fixture(scope="module")
def commits(module_engine: Engine, graphs: Path) -> Commits:
    return Commits(module_engine, graphs)


def _traced(api: Api, node: str, direction: Direction) -> Any:
    """Ask for a trace of many megabytes, read by the quickest parser there is."""
    answer = api.send("GET", f"/trace/{code_of(node)}?direction={direction}")
    assert answer.status_code == 200, answer.text[:1000]
    return json.loads(answer.content, parse_float=Decimal)


@pytest.fixture(scope="module")
def early(expected: Any) -> Any:
    """A commit that most others came of."""
    return next(each for each in expected["nodes"] if each["descendants"] > 70_000)


@pytest.fixture
def forward(module_api: Api, commits: Commits, early: Any) -> Any:
    """Where the early commit went, asked once for each database."""
    if commits.forward is None:
        commits.forward = _traced(module_api, str(early["node"]), Direction.FORWARD)
    return commits.forward


def test_the_booked_graph_is_the_recorded_one_and_its_book_is_sound(
    commits: Commits, expected: Any
) -> None:
    inputs = commits.network.inputs

    assert len(inputs) == expected["shape"]["nodes"]
    assert len(commits.grams) == expected["shape"]["edges"]
    assert sum(not parents for parents in inputs.values()) == expected["shape"]["roots"]
    with reading(commits.engine) as session:
        assert list(check_book(session)) == []


@pytest.mark.parametrize("direction", list(Direction))
def test_every_commit_reaches_as_many_as_git_counted(
    commits: Commits, expected: Any, direction: Direction
) -> None:
    relatives = "descendants" if direction is Direction.FORWARD else "ancestors"

    with reading(commits.engine) as session:
        for node in expected["nodes"]:
            unit = commits.number[str(node["node"])]
            reached = set(reach(session, [unit], forward=direction is Direction.FORWARD)) - {unit}

            assert len(reached) == node[relatives], node["node"]
            # Units are numbered as the commits are.
            assert sum(reached) == node[f"{relatives}_sum_of_numbers"], node["node"]


def test_a_walk_reads_every_unit_it_reaches_and_every_flow_between(
    commits: Commits, expected: Any
) -> None:
    with reading(commits.engine) as session:
        for node in expected["nodes"][:WALKED]:
            unit = commits.number[str(node["node"])]
            later = walk(session, [unit], Direction.FORWARD)
            earlier = walk(session, [unit], Direction.BACKWARD)

            assert len(later.units) == node["descendants"] + 1
            assert len(earlier.units) == node["ancestors"] + 1
            assert sum(earlier.units) == node["ancestors_sum_of_numbers"] + unit
            parents = [source for source, target, _ in earlier.flows if target == unit]
            assert parents == sorted(commits.number[str(each)] for each in node["parents"])
            assert {source for source, _, _ in earlier.flows} <= set(earlier.units)


def test_whether_one_commit_reaches_another_is_what_git_says(
    commits: Commits, expected: Any
) -> None:
    last = len(commits.number)

    with reading(commits.engine) as session:
        for before, after, reaches in expected["reachable_pairs_from_to_yes"]:
            # From the side on which there is less to reach; both must answer alike.
            if last - before < after:
                found = after in reach(session, [before], forward=True)
            else:
                found = before in reach(session, [after], forward=False)

            assert found == reaches, (before, after)


def test_a_trace_of_more_than_seventy_thousand_units_is_answered_in_full(
    forward: Any, commits: Commits, early: Any
) -> None:
    code = code_of(str(early["node"]))

    assert forward["of"] == {"code": code, "kind": "blend"}
    assert len(forward["units"]) == early["descendants"] + 1
    numbers = [int(unit["code"].removeprefix("N-")) for unit in forward["units"]]
    assert sum(numbers) == early["descendants_sum_of_numbers"] + early["node"]
    balance = forward["balance"]
    assert balance["received_kg"] == Decimal(commits.made_g(str(early["node"]))) / 1000
    assert balance["in_process_kg"] == balance["received_kg"]
    assert balance["accounted_pct"] == 100


def test_shares_far_down_the_graph_are_right_to_the_last_digit(
    forward: Any, commits: Commits, early: Any
) -> None:
    """Recomputed node by node with 400 decimals, far more than the service keeps."""
    wide = Context(prec=400)
    share: dict[str, Decimal] = {}
    for node, inputs in commits.network.inputs.items():
        came = Decimal(0)
        for source in inputs:
            came = wide.add(came, wide.multiply(share[source], commits.grams[source, node]))
        start = node == str(early["node"])
        share[node] = Decimal(1) if start else wide.divide(came, commits.made_g(node) or 1)

    shown = {unit["code"]: unit["share_pct"] for unit in forward["units"]}

    step = Decimal("0.000001")
    for node, value in share.items():
        exact = wide.multiply(value, 100).quantize(step, context=wide)
        assert shown.get(code_of(node), 0) == exact, node
        assert (value > 0) == (code_of(node) in shown), node


def test_shares_near_the_start_are_those_of_exact_fractions(
    forward: Any, commits: Commits, early: Any
) -> None:
    start = int(early["node"])
    share: dict[str, Fraction] = {}
    for number in range(1, start + 1_500):
        node, inputs = str(number), commits.network.inputs[str(number)]
        came = sum((share[s] * commits.grams[s, node] for s in inputs), Fraction(0))
        share[node] = Fraction(1) if number == start else came / (commits.made_g(node) or 1)

    shown = {unit["code"]: unit["share_pct"] for unit in forward["units"]}

    reached = [node for node in share if share[node]]
    assert len({share[node] for node in reached}) > 100
    for node in reached:
        assert Fraction(shown[code_of(node)]) == round(100 * share[node], 6), node


def test_the_last_commit_is_traced_back_to_every_root(
    module_api: Api, commits: Commits, expected: Any
) -> None:
    last = str(len(commits.number))

    answer = _traced(module_api, last, Direction.BACKWARD)

    lots = [unit for unit in answer["units"] if unit["kind"] == "lot"]
    assert len(lots) == expected["shape"]["roots"]
    assert len(answer["units"]) == len(commits.number)
    assert abs(sum(lot["share_pct"] for lot in lots) - 100) <= len(lots) * Decimal("0.0000005")
    assert answer["balance"]["asked_kg"] == answer["balance"]["received_kg"]


def test_a_small_graph_reaches_what_networkx_reaches(engine: Engine, graphs: Path) -> None:
    network = _network(graphs / "git_small_edges.csv.gz")
    number = book(engine, network, network.flows(7, unevenly), 7)
    known = nx.DiGraph(
        [(source, node) for node in network.inputs for source in network.inputs[node]]
    )

    with reading(engine) as session:
        for node in list(known)[::25]:
            later = set(reach(session, [number[node]], forward=True))
            earlier = set(reach(session, [number[node]], forward=False))

            assert later == {number[node], *(number[each] for each in nx.descendants(known, node))}
            assert earlier == {number[node], *(number[each] for each in nx.ancestors(known, node))}
