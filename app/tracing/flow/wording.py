"""What boxes are called, and the picture in words."""

from collections.abc import Mapping
from typing import Final

from app.shared.mass import kg_text
from app.tracing.flow.rules import REST, Flow, Node, Side

TERMS: Final[Mapping[str, str]] = {
    "green_left": "Green left",
    "in_process": "Left, roasted or blended",
    "packed_left": "Bags left",
    "dispatched": "At customers",
    "roasting_loss": "Lost in roasting",
    "packing_loss": "Lost in packing",
    "draw_difference": "Book against scale",
    "sample": "Samples",
    "spill": "Spilled",
    "count": "Counted less",
    "moisture": "Lost in storage",
    "other_coffee": "Other coffee",
    "made_of": "What it was made of",
    "asked": "What was asked for",
    "sent": "Sent to customers",
    "returned": "Came back",
    "came_back": "Came back",
}
"""Of other terms the word itself is the name."""

KINDS: Final[Mapping[str, tuple[str, str]]] = {
    "lot": ("lot", "lots"),
    "sack": ("sack", "sacks"),
    "roast": ("roast", "roasts"),
    "blend": ("blend", "blends"),
    "pack": ("pack", "packs"),
    "dispatch": ("dispatch", "dispatches"),
    "return": ("return", "returns"),
}


def term_name(term: str) -> str:
    """Name where coffee came from or went."""
    said = TERMS.get(term, term.replace("_", " "))
    return said[:1].upper() + said[1:]


def label(node: Node) -> str:
    """Name a box: by its unit where it has one, else by how many and what they share."""
    name = node.box.name
    if node.box.side is not Side.UNITS:
        return term_name(name)
    if node.box.stage not in KINDS:
        return name
    one, many = KINDS[node.box.stage]
    count = f"{node.units} {one if node.units == 1 else many}"
    if name == REST:
        return f"{count} more"
    if node.box.stage == "dispatch":
        return name
    if node.units == 1:
        return node.codes[0]
    return f"{count}, {name}" if name else count


def describe(flow: Flow) -> str:
    """Say what the picture shows, for whoever has it read aloud."""
    said = [_said(flow, side) for side in (Side.CAME_IN, Side.END)]
    return f"In came {said[0]}. Of it {said[1]}."


def _said(flow: Flow, side: Side) -> str:
    sums: dict[str, int] = {}
    for node in flow.nodes:
        if node.box.side is side:
            name = label(node).lower()
            sums[name] = sums.get(name, 0) + node.grams
    return ", ".join(f"{name} {kg_text(grams)}" for name, grams in sums.items()) or "nothing"
