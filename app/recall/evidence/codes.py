"""What the codes and words in the tables mean, for a reader who knows neither house nor program."""

from collections.abc import Iterator, Mapping
from typing import Final

KINDS: Final = {
    "lot": "green coffee of one delivery that is alike",
    "sack": "one sack of a lot",
    "roast": "one charge roasted and cooled together",
    "blend": "roasts, or blends of them, mixed",
    "pack": "bags of one product, filled in one go under one lot mark",
    "dispatch": "bags that left to one customer",
    "return": "bags of one pack that came back from one dispatch",
}

CODES: Final[Mapping[str, Mapping[str, str]]] = {
    "code of a unit": {
        "L S R B P D T": "first letter of a code that the book issued: lot, sack, roast, blend, "
        "pack, dispatch, return",
        "A": "first letter of the code of a delivery that the book issued",
        "last character": "check character over letter and number (ISO/IEC 7064, MOD 37,36)",
        "any other code": "given by the house; each code stands for one unit and is never used "
        "again",
    },
    "kind of a unit": KINDS,
    "in_scope": {
        "start": "the case starts here",
        "reached": "contains coffee of what the case starts at, however little",
        "contact": "may only have touched it on a machine or in a silo, hopper or tray, or was "
        "made of what may have; no mass is known of it and no total counts it",
    },
    "event": {
        "made": "came into the book; 'said' is the act that made it",
        "went_into": "coffee of it went into 'other'; below zero",
        "adjusted": "became lighter or heavier; 'said' is the reason",
        "moved": "was put at the place 'other'",
        "held": "was stopped; 'said' is why",
        "released": "a stop ended; 'said' is why",
        "voided": "was booked by mistake and never was",
    },
    "reason of an adjustment": {
        "sample": "taken as a sample",
        "spill": "spilled",
        "count": "a stock count found less or more",
        "moisture": "dried or took up water in storage",
        "destroyed": "destroyed",
        "draw_difference": "book against scale when a sack was used up",
        "returned": "bags that came back: off their dispatch, and by way of their pack into a "
        "return",
        "other": "anything else",
    },
    "kind of a case": {
        "inquiry": "nothing was decided yet",
        "withdrawal": "coffee is taken back before it reaches consumers",
        "recall": "consumers are asked for it too",
    },
    "state of a case, step": {
        "opened": "begun, with what set it off",
        "scoped": "everything connected was frozen as it was known",
        "stopped": "what was in the house was held",
        "working_off": "consignees are told and report",
        "decided": "its kind or class was changed",
        "closed": "closed, with a reason",
        "reopened": "opened again",
    },
    "line of the log": {
        "notice": "a consignee was told",
        "acknowledgement": "a consignee said that the notice came",
        "report": "a consignee said what became of its bags",
    },
    "what became of bags": {
        "made": "filled, or brought in by a dispatch or return that the case starts at",
        "in_house": "here now, those that came back too",
        "sent": "left to customers",
        "returned": "came back, by the book",
        "in_market": "sent and not come back",
        "destroyed_here": "destroyed here",
        "adjusted": "samples, spills and counts; below zero where more was found",
        "held": "kept aside by a consignee, as it reported",
        "destroyed": "destroyed by a consignee, as it reported",
        "sold": "sold or used up, as a consignee reported",
        "unaccounted": "sent and neither come back nor reported; below zero where more is reported "
        "than was sent",
    },
    "figure of the balance": {
        "received": "suspect coffee that came in, pro rata; the other figures add up to it",
        "green_left": "left as green coffee",
        "roasting_loss": "lost in roasting",
        "in_process": "left, roasted or blended",
        "packing_loss": "lost in packing",
        "packed_left": "left in bags here",
        "dispatched": "sent and not come back",
        "adjusted": "taken out as samples, spills and the like; below zero where more was found",
        "asked": "of a backward trace: in what was asked for",
    },
    "column": {
        "entry": "number of a line of the journal; no line is ever changed or taken out",
        "happened_at": "when it happened, by the word of whoever booked it; UTC",
        "recorded_at": "when the book learnt of it; UTC",
        "by": "who was signed in",
        "made_kg, left_kg": "when it was made, and what was left when the scope was frozen",
        "left_now_kg": "what is left now",
        "suspect_kg": "the part of it that came from the start of the case, pro rata",
        "kg (events)": "what became of it; the rows of a unit add up to left_now_kg",
        "kg (flows)": "what of the source went into the target",
        "coverage_pct": "consignees that were told, of all",
        "acknowledged_pct": "notices that were acknowledged, of those told",
        "recovery_pct": "bags here, destroyed or held, of all that were made",
    },
}


def code_rows() -> Iterator[tuple[str, str, str]]:
    """List every code: where it stands, what it is, what it means."""
    for where, codes in CODES.items():
        for code, meaning in codes.items():
            yield where, code, meaning
