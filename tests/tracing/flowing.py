"""Whether a flow closes, and whether its ends are those of the balance of the same trace."""

from decimal import Decimal
from typing import Any

ADJUSTED = ("sample", "spill", "count", "moisture", "destroyed", "draw_difference", "other")


def total(flow: Any, member: str, **having: str | None) -> Decimal:
    """Add up the links whose ends are so."""
    ids = {
        node["id"]
        for node in flow["nodes"]
        if all(node[name] == value for name, value in having.items())
    }
    near = "target" if having.get("side", "end") == "end" else "source"
    return sum((link[member] for link in flow["links"] if link[near] in ids), Decimal(0))


def assert_closes(flow: Any) -> None:
    """Check every box of units, what is suspect too; where a trace starts more of it goes out."""
    for node in flow["nodes"]:
        into = [link for link in flow["links"] if link["target"] == node["id"]]
        out = [link for link in flow["links"] if link["source"] == node["id"]]
        assert node["term"] != "unexplained"
        if node["side"] != "units":
            continue
        assert sum(link["kg"] for link in into) == sum(link["kg"] for link in out) == node["kg"]
        if node["suspect_kg"] is None:
            continue
        came, went = (sum(link["suspect_kg"] for link in some) for some in (into, out))
        assert went == node["suspect_kg"] <= node["kg"]
        assert came <= went if node["start"] else came == went
        assert all(0 <= link["suspect_kg"] <= link["kg"] for link in [*into, *out])


def assert_ends_as_balanced(flow: Any, balance: Any) -> None:
    """Check the ends against the balance: each link is rounded, so a gram each may be between."""
    member = "suspect_kg" if flow["direction"] == "forward" else "kg"
    found = total(flow, member, side="came_in", term="found")
    ends = {
        name: total(flow, member, side="end", term=name)
        for name in (
            "green_left", "roasting_loss", "in_process", "packing_loss", "packed_left",
            "dispatched", "asked",
        )
    }  # fmt: skip
    gone = sum(total(flow, member, side="end", term=reason) for reason in ADJUSTED)
    ends["adjusted"] = gone - found
    off = Decimal(len(flow["links"])).scaleb(-3)
    for name, kg in ends.items():
        assert abs(balance[f"{name}_kg"] - kg) <= off, name
