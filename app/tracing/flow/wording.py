"""What boxes are called, and the picture in words."""

from collections.abc import Mapping
from typing import Final

from app.shared.speech import N_, PLAIN, Speech, pair
from app.tracing.flow.rules import REST, Flow, Node, Side

TERMS: Final[Mapping[str, str]] = {
    "green_left": N_("Green left"),
    "in_process": N_("Left, roasted or blended"),
    "packed_left": N_("Bags left"),
    "dispatched": N_("At customers"),
    "roasting_loss": N_("Lost in roasting"),
    "packing_loss": N_("Lost in packing"),
    "draw_difference": N_("Book against scale"),
    "sample": N_("Samples"),
    "spill": N_("Spilled"),
    "count": N_("Counted less"),
    "moisture": N_("Lost in storage"),
    "other_coffee": N_("Other coffee"),
    "made_of": N_("What it was made of"),
    "asked": N_("What was asked for"),
    "sent": N_("Sent to customers"),
    "returned": N_("Came back"),
    "came_back": N_("Came back"),
    "received": N_("Received"),
    "charged": N_("Charged"),
    "blended_in": N_("Blended in"),
    "brought_to_the_line": N_("Brought to the line"),
    "used_in_roasts": N_("Used in roasts"),
    "used_in_blends": N_("Used in blends"),
    "used_in_packs": N_("Used in packs"),
    "used_otherwise": N_("Used otherwise"),
    "lost_in_roasting": N_("Lost in roasting"),
    "lost_in_blending": N_("Lost in blending"),
    "lost_in_packing": N_("Lost in packing"),
    "lost": N_("Lost"),
    "destroyed": N_("Destroyed"),
    "other": N_("Other"),
    "left": N_("Left"),
    "opening_stock": N_("Opening stock"),
    "closing_stock": N_("Closing stock"),
    "unexplained": N_("Unexplained"),
}
"""Of other terms the word itself is the name."""

CAME_IN: Final[Mapping[str, str]] = {
    "count": N_("Counted more"),
    "moisture": N_("Gained in storage"),
}
"""Terms that are called otherwise where they added to what is there."""

KINDS: Final[Mapping[str, tuple[str, str]]] = {
    "lot": pair("%(number)s lot", "%(number)s lots"),
    "sack": pair("%(number)s sack", "%(number)s sacks"),
    "roast": pair("%(number)s roast", "%(number)s roasts"),
    "blend": pair("%(number)s blend", "%(number)s blends"),
    "pack": pair("%(number)s pack", "%(number)s packs"),
    "dispatch": pair("%(number)s dispatch", "%(number)s dispatches"),
    "return": pair("%(number)s return", "%(number)s returns"),
}


def term_name(term: str, speech: Speech = PLAIN) -> str:
    """Name where coffee came from or went."""
    said = speech.gettext(TERMS[term]) if term in TERMS else term.replace("_", " ")
    return said[:1].upper() + said[1:]


def label(node: Node, speech: Speech = PLAIN) -> str:
    """Name a box: by its unit where it has one, else by how many and what they share."""
    name = node.box.name
    if node.box.side is not Side.UNITS:
        more = CAME_IN.get(name) if node.box.side is Side.CAME_IN else None
        return speech.gettext(more) if more else term_name(name, speech)
    if node.box.stage not in KINDS:
        return name
    count = speech.ngettext(*KINDS[node.box.stage], node.units) % {
        "number": speech.number(node.units)
    }
    if name == REST:
        return speech.gettext("%(count)s more") % {"count": count}
    if node.box.stage == "dispatch":
        return name
    if node.units == 1:
        return node.codes[0]
    return f"{count}, {name}" if name else count


def describe(flow: Flow, speech: Speech = PLAIN) -> str:
    """Say what the picture shows, for whoever has it read aloud."""
    came, ended = (_said(flow, side, speech) for side in (Side.CAME_IN, Side.END))
    return speech.gettext("In came %(came)s. Of it %(ended)s.") % {"came": came, "ended": ended}


def _said(flow: Flow, side: Side, speech: Speech) -> str:
    sums: dict[str, int] = {}
    for node in flow.nodes:
        if node.box.side is side:
            name = label(node, speech)
            name = name.lower() if speech is PLAIN else name
            sums[name] = sums.get(name, 0) + node.grams
    return ", ".join(
        f"{name} {speech.mass(grams)}" for name, grams in sums.items()
    ) or speech.gettext("nothing")  # fmt: skip
