"""Networks somebody else recorded, booked as if they were coffee.

They go through the ledger's own posting, so nothing in such a book is impossible: every unit but
the first is made of exactly what flowed into it, and nobody draws more than is there.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sqlalchemy import Engine

from app.ledger.posting import Birth, Pen, Posting
from app.ledger.tables import UnitKind
from app.settings import Settings
from app.shared.db import writing
from app.shared.mass import Grams, share_out
from app.shared.times import now

Split = Callable[[int, int], list[int]]
"""Draw at least so many grams from so many inputs: how much of each, none of them nothing."""


@dataclass(frozen=True)
class Network:
    """Who was made of whom; `inputs` names every node after all it was made of."""

    inputs: dict[str, list[str]]

    def flows(self, left_g: int, split: Split) -> dict[tuple[str, str], int]:
        """Weigh the network from its ends up, so that `left_g` stay in every node."""
        wanted: Counter[str] = Counter()
        grams: dict[tuple[str, str], int] = {}
        for node in reversed(self.inputs):
            parts = split(wanted[node] + left_g, len(self.inputs[node]))
            for source, part in zip(self.inputs[node], parts, strict=True):
                grams[source, node] = part
                wanted[source] += part
        return grams


def unevenly(at_least_g: int, inputs: int) -> list[int]:
    """Draw more from each input than from the one before it."""
    spare = Grams(max(at_least_g - inputs, 0))
    return [part + 1 for part in share_out(spare, range(1, inputs + 1))] if inputs else []


def evenly(at_least_g: int, inputs: int) -> list[int]:
    """Draw the same from every input."""
    return [-(-at_least_g // inputs)] * inputs if inputs else []


def code_of(node: str) -> str:
    """Name a node as the book names units."""
    return f"N-{node}".upper()


def book(
    engine: Engine, network: Network, flows: Mapping[tuple[str, str], int], left_g: int
) -> dict[str, int]:
    """Post a network in one entry: what nobody made is a lot, the rest are blends.

    Returns the number of each node's unit.
    """
    with writing(engine) as session:
        pen = Pen(session, "archivist", Settings(_env_file=None))
        posting = Posting("network", now(), {"nodes": len(network.inputs)})
        drawn: Counter[str] = Counter()
        for (source, _), grams in flows.items():
            drawn[source] += grams
        born: dict[str, Birth] = {}
        for node, inputs in network.inputs.items():
            kind = UnitKind.BLEND if inputs else UnitKind.LOT
            made_g = sum(flows[source, node] for source in inputs) or drawn[node] + left_g
            born[node] = pen.bear(posting, kind, code_of(node), made_g)
            for source in inputs:
                posting.flow(born[source].id, born[node], flows[source, node])
        pen.post(posting)
    return {node: birth.id for node, birth in born.items()}
