"""Claims in random roasteries, held against networkx; and what they cost to ask."""

from collections.abc import Callable

import networkx as nx
import pytest

from tests.api import Api, kg
from tests.green.test_certificates import ORGANIC
from tests.makers import blend, furnish, pack, receive, roast, sack_codes
from tests.tracing.test_random_roasteries import Apprentice

CLAIMS = ("organic", "fair", "shade")


@pytest.fixture(params=[3, 4])
def apprentice(api: Api, request: pytest.FixtureRequest) -> Apprentice:
    worker = Apprentice(api, request.param)
    worker.work()
    return worker


def certify(apprentice: Apprentice) -> dict[int, set[str]]:
    """Put certificates on record for lots at random, some of them expired or taken back."""
    api, random = apprentice.api, apprentice.random
    for claim in CLAIMS:
        card = ORGANIC | {"claim": claim, "valid_from": "2020-01-01"}
        api.post("/certificates", card | {"code": claim, "valid_until": None})
        api.post("/certificates", card | {"code": f"{claim}-old", "valid_until": "2025-12-31"})
    carries: dict[int, set[str]] = {}
    for lot in [unit for unit, coffee in apprentice.paper.units.items() if coffee.kind == "lot"]:
        path = f"/lots/{apprentice.code[lot]}/certificates"
        carries[lot] = set()
        for claim in CLAIMS:
            fate = random.choice(["holds", "holds", "expired", "taken back", "none"])
            if fate == "none":
                continue
            code = f"{claim}-old" if fate == "expired" else claim
            put = api.post(path, {"certificate": code})
            if fate == "taken back":
                api.post(f"{path}/{put['id']}/withdraw", {"reason": "at random"})
            if fate == "holds":
                carries[lot].add(claim)
    return carries


def test_a_unit_carries_a_claim_if_and_only_if_every_lot_it_came_from_does(
    apprentice: Apprentice, book_is_sound: Callable[[], None]
) -> None:
    carries = certify(apprentice)
    paper, api = apprentice.paper, apprentice.api
    graph = nx.DiGraph()
    graph.add_nodes_from(paper.units)
    graph.add_edges_from((source, target) for source, target, _ in paper.flows)

    seen = set()
    for unit, coffee in paper.units.items():
        code = apprentice.code[unit]
        lots = sorted(each for each in {unit, *nx.ancestors(graph, unit)} if each in carries)
        expected = sorted(set.intersection(*(carries[lot] for lot in lots)))
        answer = api.get(f"/claims/{code}")

        assert answer["lots"] == [apprentice.code[lot] for lot in lots]
        assert answer["carried"] == expected
        for judged in answer["claims"]:
            without = {apprentice.code[lot] for lot in lots if judged["claim"] not in carries[lot]}
            assert {each["lot"] for each in judged["because"]} == without
        if coffee.kind == "pack":
            assert api.get(f"/packs/{code}")["claims"] == expected
        seen.add((coffee.kind, bool(expected)))
    assert {carried for _, carried in seen} == {True, False}
    book_is_sound()


def test_claims_cost_the_same_few_statements_whatever_is_behind(
    api: Api, statements: Callable[[], int]
) -> None:
    furnish(api)
    api.post("/certificates", ORGANIC)
    made = []
    for number in range(12):
        lot = receive(api, *[1] * 10, lot=f"M-{number}")
        api.post(f"/lots/M-{number}/certificates", {"certificate": "ORG-7"})
        made.append(roast(api, dict.fromkeys(sack_codes(lot), 1), kg("8.5"))["code"])
    little = pack(api, {made[0]: kg("0.5")}, 2)["code"]
    much = pack(api, {blend(api, dict.fromkeys(made, 1))["code"]: 10}, 40)["code"]

    counts = []
    for code in (little, much):
        for path in (f"/claims/{code}", f"/packs/{code}"):
            statements()
            assert api.get(path)["claims"]
            counts.append(statements())

    assert counts[:2] == counts[2:]
    assert counts[0] <= 6
    statements()
    api.get("/lots?limit=1")
    one = statements()
    api.get("/lots?limit=500")
    assert statements() == one
