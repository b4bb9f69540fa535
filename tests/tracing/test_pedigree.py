"""A dairy pedigree as a book: every batch is made half and half of two inputs.

4,681 batches of 2,812 sources, nine levels deep; the exact parts of the sources stand beside the
data as fractions. A calf is no blend, but half and half is half and half.
"""

import csv
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from app.ledger.checks import check_book
from app.shared.db import reading
from app.shared.shares import percent
from app.tracing.rules import backward_shares, forward_shares
from app.tracing.schemas import Direction
from app.tracing.spread import inflows
from app.tracing.walk import walk
from tests.api import Api
from tests.tracing.loading import Network, book, code_of, evenly

LEFT_G = 10


def _network(file: Path) -> Network:
    with file.open() as lines:
        edges = [(row["input"], row["batch"]) for row in csv.DictReader(lines)]
    batches = {batch for _, batch in edges}
    inputs: dict[str, list[str]] = {each: [] for each, _ in edges if each not in batches}
    for batch in sorted(batches, key=int):
        inputs[batch] = []
    for each, batch in edges:
        inputs[batch].append(each)
    return Network(inputs)


class Pedigree:
    """The batches and sources of a file, booked."""

    def __init__(self, engine: Engine, file: Path) -> None:
        self.engine = engine
        self.network = _network(file)
        grams = self.network.flows(LEFT_G, evenly)
        self.number = book(engine, self.network, grams, LEFT_G)
        self.made_g = {
            number: sum(grams[source, node] for source in self.network.inputs[node])
            for node, number in self.number.items()
        }
        self.ends = set(self.number) - {source for source, _ in grams}


@pytest.fixture(scope="module")
def graphs(shared: Path) -> Path:
    return shared / "data" / "open" / "graph"


@pytest.fixture(scope="module")
def expected(graphs: Path) -> Any:
    return json.loads((graphs / "pedigree_EXPECTED.json").read_text())


@pytest.fixture(scope="module")
def pedigree(module_engine: Engine, graphs: Path) -> Pedigree:
    return Pedigree(module_engine, graphs / "pedigree_edges.csv")


def shown(fraction: str) -> Any:
    exact = Fraction(fraction)
    return percent(exact.numerator, exact.denominator)


def test_the_booked_pedigree_is_the_recorded_one_and_its_book_is_sound(
    pedigree: Pedigree, expected: Any
) -> None:
    inputs = pedigree.network.inputs

    assert sum(len(each) == 2 for each in inputs.values()) == expected["shape"]["batches"]
    assert sum(not each for each in inputs.values()) == expected["shape"]["sources"]
    assert len(pedigree.ends) == expected["shape"]["end_batches"]
    with reading(pedigree.engine) as session:
        assert list(check_book(session)) == []


def test_every_source_of_a_batch_is_traced_back_with_its_very_share(
    module_api: Api, pedigree: Pedigree, expected: Any
) -> None:
    for batch in expected["back"]:
        answer = module_api.get(f"/trace/{code_of(batch['batch'])}?direction=backward")

        lots = {u["code"]: u["share_pct"] for u in answer["units"] if u["kind"] == "lot"}
        assert lots == {code_of(source): shown(share) for source, share in batch["shares"].items()}
        assert len(answer["units"]) == batch["ancestors"] + 1
        assert answer["balance"]["accounted_pct"] == 100
        made_g = pedigree.made_g[pedigree.number[batch["batch"]]]
        assert answer["balance"]["received_kg"] * 1000 == made_g


def test_the_exact_shares_of_a_batch_add_up_to_one(pedigree: Pedigree, expected: Any) -> None:
    with reading(pedigree.engine) as session:
        for batch in expected["back"]:
            number = pedigree.number[batch["batch"]]
            walked = walk(session, [number], Direction.BACKWARD)
            asked_g = {number: pedigree.made_g[number]}

            shares = backward_shares(
                sorted(walked.units, reverse=True), inflows(walked.flows), asked_g
            )

            exact = {source: shares.exact(pedigree.number[source]) for source in batch["shares"]}
            assert exact == {s: Fraction(share) for s, share in batch["shares"].items()}
            assert sum(exact.values()) == 1
            unknown = sum(share for source, share in exact.items() if source.startswith("u"))
            assert unknown == Fraction(batch["unknown_share"])


def test_a_source_is_found_in_everything_made_of_it_with_its_very_shares(
    pedigree: Pedigree, expected: Any
) -> None:
    ends = {pedigree.number[node] for node in pedigree.ends}

    with reading(pedigree.engine) as session:
        for source in expected["forward"]:
            number = pedigree.number[source["source"]]
            walked = walk(session, [number], Direction.FORWARD)

            shares = forward_shares(list(walked.units), inflows(walked.flows), [number])

            reached = {unit: shares.exact(unit) for unit in walked.units if unit != number}
            at_ends = {unit: share for unit, share in reached.items() if unit in ends}
            assert len(reached) == source["batches_reached"]
            assert len(at_ends) == source["end_batches_reached"]
            assert sum(reached.values()) == Fraction(source["sum_of_shares_in_all_batches"])
            assert sum(at_ends.values()) == Fraction(source["sum_of_shares_in_end_batches"])
            assert min(reached.values()) == Fraction(source["smallest_share"])
            assert max(reached.values()) == Fraction(source["largest_share"])


@pytest.mark.usefixtures("pedigree")
def test_a_source_is_answered_with_the_digits_of_its_shares(module_api: Api, expected: Any) -> None:
    """Source 326 is down to 1/512 in some batches: 0.1953125 %, a tie, shown to the even digit."""
    for source in expected["forward"][:4]:
        code = code_of(source["source"])

        answer = module_api.get(f"/trace/{code}")

        made = [unit for unit in answer["units"] if unit["code"] != code]
        assert len(made) == source["batches_reached"]
        assert min(unit["share_pct"] for unit in made) == shown(source["smallest_share"])
        assert max(unit["share_pct"] for unit in made) == shown(source["largest_share"])
        assert answer["balance"]["accounted_pct"] == 100
        received_g = answer["balance"]["received_kg"] * 1000
        kilograms = [each for name, each in answer["balance"].items() if name.endswith("_kg")]
        assert sum(kilograms) * 1000 == 2 * received_g


def test_the_six_animals_of_the_textbook_have_the_textbook_shares(
    api: Api, engine: Engine, graphs: Path
) -> None:
    """The small pedigree of R. A. Mrode's book on breeding values (its title is from memory)."""
    Pedigree(engine, graphs / "mrode_edges.csv")
    textbook = json.loads((graphs / "mrode_EXPECTED.json").read_text())

    for animal, shares in textbook.items():
        answer = api.get(f"/trace/{code_of(animal)}?direction=backward")

        lots = {u["code"]: u["share_pct"] for u in answer["units"] if u["kind"] == "lot"}
        assert lots == {code_of(source): shown(share) for source, share in shares.items()}
