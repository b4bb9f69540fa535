"""What the model of the book knows of each thing."""

from collections import Counter
from dataclasses import dataclass, field

EMPTIED_TOLERANCE_PCT = 2
ROASTER_CAPACITY_G = 20_000
BAG_G = 250
FILM = 40
"""Pieces of packing material that there are."""
CRATES = 3
PLACES = ("A-01", "SILO", "TRAY")
MIXING = frozenset({"SILO", "TRAY"})
"""Places in which loose coffee mixes."""
UNUSABLE = frozenset({"set_aside", "rejected", "scrapped"})
LIMITED = frozenset({"blend_in", "rework"})


@dataclass
class Thing:
    """One unit."""

    kind: str
    made_g: int
    left_g: int
    parts: Counter[str] = field(default_factory=Counter)
    """What it was made from."""
    booked: Counter[str] = field(default_factory=Counter)
    """What its own entry added to or took off other units besides."""
    born_with: tuple[str, ...] = ()
    """Units that are voided with it."""
    place: str | None = None
    disposition: str = "passed"
    at_most_pct: int | None = None
    """Of a roast that goes into blends alone: how much of each."""
    tasted: bool = False
    voided: bool = False
    bags: Counter[str] = field(default_factory=Counter)
    """Of a dispatch: bags of each pack that are still out."""
    sent_in: str | None = None
    """Of a return: the dispatch it came back from."""
    film: int = 0
    """Of a pack: pieces of packing material that went into it."""
    crates: int = 0
    """Of a dispatch: crates that went with it."""
    born: int = 0
    """Which of all that was taken down it was."""
    own_hold: int | None = None
    """The hold that its own entry placed."""


@dataclass
class Adjusted:
    """An adjustment that somebody booked by itself."""

    code: str
    grams: int
    taken: int
    """Which of all that was taken down it was."""
    reversed: bool = False


@dataclass
class Line:
    """A sack that was counted."""

    counted_g: int
    book_g: int
    taken: int
    """Which of all that was taken down it was."""
    outdated: bool = False
    """Whether the book learnt since that it was wrong then."""


@dataclass
class Paper:
    """A stock count that nobody has decided on."""

    lines: dict[str, Line] = field(default_factory=dict)
    closed: bool = False


@dataclass
class Planned:
    """A batch that was planned."""

    green: Counter[str]
    roasts: list[str] = field(default_factory=list)
    """What was made of it, voided ones too."""
    cancelled: bool = False


@dataclass
class Case:
    """A case of bags."""

    bags: Counter[str]
    sent: list[str] = field(default_factory=list)
    """The dispatches it left with, voided ones too."""


@dataclass
class Pick:
    """Bags that are kept for somebody."""

    bags: Counter[str]
    ended: str | None = None
    """The dispatch that it was for, or why it was cancelled."""
