"""What kinds of things are called, and on which page each is seen."""

from typing import Final

from app.ledger.tables import LETTERS, Reason
from app.scans.schemas import FoundOut
from app.web.texts import N_, _

_NAMES: Final = {
    "lot": N_("lot"),
    "sack": N_("sack"),
    "roast": N_("roast"),
    "blend": N_("blend"),
    "pack": N_("pack"),
    "dispatch": N_("dispatch"),
    "return": N_("return"),
    "location": N_("place"),
    "machine": N_("machine"),
    "product": N_("product"),
    "instrument": N_("instrument"),
    "certificate": N_("certificate"),
    "delivery": N_("delivery"),
    "order": N_("order"),
    "material": N_("packing material"),
    "material_lot": N_("lot of packing material"),
    "case": N_("case"),
}
REASONS: Final = {
    Reason.SAMPLE: N_("drawn as a sample"),
    Reason.SPILL: N_("spilled"),
    Reason.COUNT: N_("counted or weighed"),
    Reason.MOISTURE: N_("dried or got damp"),
    Reason.DESTROYED: N_("destroyed"),
    Reason.DRAW_DIFFERENCE: N_("book against scale"),
    Reason.RETURNED: N_("returned"),
    Reason.OTHER: N_("something else"),
}
"""Why coffee became lighter or heavier without going into anything."""
UNITS: Final = frozenset({"lot", "sack", "roast", "blend", "pack", "dispatch", "return"})
_PAGES: Final[dict[str, str]] = {
    "location": "/places/{code}",
    "delivery": "/deliveries/{code}",
    "instrument": "/instruments/{code}",
    "case": "/cases/{code}",
    "material_lot": "/material/{code}",
    "order": "/orders/{code}",
}
"""Pages of what is no unit; of a kind without one the page of finding tells all there is."""


def named(kind: str) -> str:
    """Call a kind by its name."""
    return _(_NAMES[kind]) if kind in _NAMES else kind


def lettered() -> dict[str, tuple[str, str]]:
    """Tell of each letter that codes begin with what they are of, and its name."""
    return {letter: (str(kind), named(kind)) for kind, letter in LETTERS.items()}


def address_of(found: FoundOut) -> str | None:
    """Say on which page something is seen, if there is one."""
    path = "/u/{code}" if found.kind in UNITS else _PAGES.get(found.kind)
    return path.format(code=found.code) if path else None
