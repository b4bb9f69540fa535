"""Which term of a mass balance a movement feeds, and what is left over when all are added up."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Final, NamedTuple

from app.shared.shares import percent

CAME_IN: Final[Mapping[str, str]] = {
    "lot": "received",
    "sack": "received",
    "roast": "charged",
    "blend": "blended_in",
    "pack": "brought_to_the_line",
    "dispatch": "sent",
    "return": "came_back",
}
"""What the coffee that made a unit is called, by its kind."""

USED: Final[Mapping[str, str]] = {
    "roast": "used_in_roasts",
    "blend": "used_in_blends",
    "pack": "used_in_packs",
    "dispatch": "sent",
}
"""Where coffee of a unit went, by the kind of what it went into."""

LOST: Final[Mapping[str, str]] = {
    "roast": "lost_in_roasting",
    "blend": "lost_in_blending",
    "pack": "lost_in_packing",
}
"""What came out lighter than what went in, by the kind of what was made."""

OTHERWISE: Final = "used_otherwise"
LEFT: Final = "left"


class Term(NamedTuple):
    """A figure of a balance and how many entries are behind it."""

    term: str
    grams: int
    entries: int


class Closing(NamedTuple):
    """What the terms do not account for: nothing in a sound book."""

    difference_g: int
    difference_pct: Decimal | None


def closing(came_in_g: int, parts_g: Iterable[int]) -> Closing:
    """Take everything that is accounted for from what came in."""
    difference = came_in_g - sum(parts_g)
    return Closing(difference, percent(difference, came_in_g) if came_in_g else None)
