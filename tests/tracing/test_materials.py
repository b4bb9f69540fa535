"""Packing materials in traces, held against a walk of networkx over the exported graph."""

import random
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import networkx as nx
import pytest
from sqlalchemy import Engine, text

from tests.api import Api
from tests.makers import blend, dispatch, furnish, receive, roast, sack_codes

LOTS = [f"PK-{number}" for number in range(6)]


@pytest.fixture
def packs(api: Api) -> list[str]:
    """Packs of roasts and blends that used lots of bags at random; one of them voided."""
    furnish(api)
    chance = random.Random(7)  # noqa: S311 - the same every time
    api.post("/materials", {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece"})
    for lot in LOTS:
        body = {"code": lot, "material": "BAG", "quantity": 1000, "supplier": "Finca El Roble"}
        api.post("/material-lots", body | {"reference": f"INV-{lot}"})
    sacks = sack_codes(receive(api, 60, 60, 60))
    sources = [roast(api, {sack: 60}, 50)["code"] for sack in sacks]
    sources += [blend(api, {sources[i]: 10, sources[i + 1]: 10})["code"] for i in range(2)]
    made = []
    for number in range(10):
        used = [{"lot": lot, "used": number + 1} for lot in chance.sample(LOTS[:5], number % 3)]
        body = {"code": f"P-{number}", "product": "HOUSE-250", "bags": 8, "materials": used}
        parts = [{"unit": source, "kg": 1} for source in chance.sample(sources, 2)]
        made.append(api.post("/packs", body | {"from": parts})["code"])
    dispatch(api, dict.fromkeys(made[:4], 2), code="D-1")
    dispatch(api, dict.fromkeys(made[2:6], 1), code="D-2")
    api.post("/units/P-8/void", {"reason": "booked twice"})
    return made


@pytest.fixture
def graph(engine: Engine, packs: list[str]) -> nx.DiGraph:
    """Everything that stands in the book, with the lots of packing material before their packs."""
    flows = (
        "SELECT s.code, t.code FROM flow JOIN unit s ON s.id = source_id "
        "JOIN unit t ON t.id = target_id WHERE t.voided_entry_id IS NULL"
    )
    uses = (
        "SELECT l.code, u.code FROM material_use JOIN material_lot l ON l.id = lot_id "
        "JOIN unit u ON u.id = pack_id WHERE u.voided_entry_id IS NULL"
    )
    whole = nx.DiGraph()
    whole.add_nodes_from([*LOTS, *packs])
    with engine.connect() as connection:
        for statement in (flows, uses):
            whole.add_edges_from(connection.execute(text(statement)).all())
    return whole


def units(answer: Any) -> set[str]:
    return {unit["code"] for unit in answer["units"]}


def test_forward_from_a_lot_reaches_what_the_graph_reaches(api: Api, graph: nx.DiGraph) -> None:
    reached = 0
    for lot in LOTS:
        wanted = nx.descendants(graph, lot)
        if not wanted:
            api.refuse("/trace", {"material_lot": lot}, 404, "not-found")
            continue
        answer = api.post("/trace", {"material_lot": lot.lower()})

        reached += len(wanted)
        assert units(answer) == wanted
        assert {start["code"] for start in answer["of"]} == set(graph.successors(lot))
        assert lot in {line["lot"] for line in answer["materials"]}
        assert answer["balance"]["accounted_pct"] == 100
    assert reached > 10


def test_every_trace_names_the_lots_behind_its_packs(
    api: Api, graph: nx.DiGraph, packs: list[str]
) -> None:
    for start in ("D-1", "D-2", *packs[:8]):
        answer = api.get(f"/trace/{start}?direction=backward")

        found = {line["lot"]: line for line in answer["materials"]}
        behind = nx.ancestors(graph, start) | {start}
        assert set(found) == behind & set(LOTS)
        for lot, line in found.items():
            through = [code for code in packs if code in behind and graph.has_edge(lot, code)]
            assert line["packs"] == through
            assert line["used"] == sum(int(code.removeprefix("P-")) + 1 for code in through)
            assert (line["supplier"], line["kind"]) == ("Finca El Roble", "bag")
            assert (line["material"], line["reference"]) == ("BAG", f"INV-{lot}")


def test_a_trace_asks_once_for_materials_however_many_packs_there_are(
    api: Api, packs: list[str], statements: Callable[[], int]
) -> None:
    statements()
    api.post("/trace", {"units": packs[:1]})
    few = statements()
    api.post("/trace", {"units": packs[:8]})

    assert statements() == few


def test_a_film_roll_is_found_though_nobody_said_how_much_of_it(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    coffee = {"from": [{"unit": roast(api, {sack: 60}, 50)["code"], "kg": 1}]}
    api.post("/materials", {"code": "FILM", "name": "Film", "kind": "film", "unit": "metre"})
    api.post("/material-lots", {"code": "RL-1", "material": "FILM", "quantity": 500})
    pack = {"product": "HOUSE-250", "bags": 4, "film_roll": "RL-1"}
    api.post("/packs", pack | coffee | {"code": "P-1"})
    unsaid = api.post("/trace", {"material_lot": "RL-1"})["materials"]
    used = [{"lot": "RL-1", "used": Decimal("1.5")}]
    api.post("/packs", pack | coffee | {"code": "P-2", "materials": used})

    [line] = api.post("/trace", {"material_lot": "RL-1"})["materials"]

    assert (unsaid[0]["packs"], unsaid[0]["used"]) == (["P-1"], None)
    assert (line["packs"], line["used"]) == (["P-1", "P-2"], Decimal("1.5"))


@pytest.mark.parametrize(
    ("body", "status", "slug"),
    [
        ({"material_lot": "NEVER-WAS"}, 404, "not-found"),
        ({"material_lot": "PK-1", "units": ["P-1"]}, 422, "invalid"),
        ({"material_lot": "PK-1", "location": "A-01"}, 422, "invalid"),
        ({"material_lot": "PK-1", "from": "2026-03-01T00:00:00Z"}, 422, "invalid"),
        ({}, 422, "invalid"),
    ],
)
def test_a_trace_has_one_start(api: Api, body: dict[str, Any], status: int, slug: str) -> None:
    api.refuse("/trace", body, status, slug)
