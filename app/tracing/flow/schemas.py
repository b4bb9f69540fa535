"""What the API answers about flows."""

from typing import Any

from pydantic import Field

from app.ledger.schemas import Told
from app.shared.mass import KgOut
from app.shared.times import MomentOut
from app.tracing.flow.rules import REST, Box, Flow, Node, Side
from app.tracing.flow.wording import describe, label
from app.tracing.queries import CAUTION
from app.tracing.schemas import Direction, StartOut


class NodeOut(Told):
    """A box: units that share it, where coffee came from, or where it ended."""

    id: str
    side: Side
    stage: str | None
    """The kind of its units, or of what coffee comes into; null of an end."""
    term: str | None
    """Where coffee came from or ended; null of units."""
    column: int
    """From 0 on the left."""
    label: str
    units: int
    codes: list[str]
    """The first twenty."""
    start: bool
    grams: KgOut = Field(alias="kg")
    """What comes in, and what goes out."""
    suspect_g: KgOut | None = Field(alias="suspect_kg")
    """Pro rata; null where nothing is suspect or asked for."""


class LinkOut(Told):
    """What flows from one box into another."""

    source: str
    target: str
    grams: KgOut = Field(alias="kg")
    suspect_g: KgOut | None = Field(alias="suspect_kg")


class FlowOut(Told):
    """Coffee that flows from box to box."""

    nodes: list[NodeOut]
    links: list[LinkOut]
    describes: str
    """The picture in words."""
    caution: str


class TraceFlowOut(FlowOut):
    of: StartOut
    direction: Direction
    as_of: MomentOut | None
    """What the book said then; null for what it says now."""
    entry: int
    """The last entry of the journal that counts."""


def told(flow: Flow) -> dict[str, Any]:
    """Answer what every flow has."""
    ids = {node.box: box_id(node.box) for node in flow.nodes}
    return {
        "nodes": [_node(node, ids[node.box], flow) for node in flow.nodes],
        "links": [
            LinkOut(
                source=ids[link.source], target=ids[link.target], grams=link.grams,
                suspect_g=link.suspect_g if flow.suspects else None,
            )
            for link in flow.links
        ],
        "describes": describe(flow),
        "caution": CAUTION,
    }  # fmt: skip


def box_id(box: Box) -> str:
    """Name a box as the answers do."""
    name = "…" if box.name == REST else box.name
    return ":".join(part for part in (box.side, box.stage, name) if part)


def _node(node: Node, number: str, flow: Flow) -> NodeOut:
    of_units = node.box.side is Side.UNITS
    return NodeOut(
        id=number, side=node.box.side, stage=node.box.stage or None,
        term=None if of_units else node.box.name, column=node.column, label=label(node),
        units=node.units, codes=list(node.codes), start=node.start, grams=node.grams,
        suspect_g=node.suspect_g if flow.suspects else None,
    )  # fmt: skip
