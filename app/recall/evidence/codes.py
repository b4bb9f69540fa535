"""What the codes and words in the tables mean, for a reader who knows neither house nor program."""

from collections.abc import Iterator, Mapping
from typing import Final

from app.shared.speech import N_, PLAIN, Speech

_LAST, _ANY_OTHER = N_("last character"), N_("any other code")
"""What stands in the place of a code and is read as words."""

KINDS: Final = {
    "lot": N_("green coffee of one delivery that is alike"),
    "sack": N_("one sack of a lot"),
    "roast": N_("one charge roasted and cooled together"),
    "blend": N_("roasts, or blends of them, mixed"),
    "pack": N_("bags of one product, filled in one go under one lot mark"),
    "dispatch": N_("bags that left to one customer"),
    "return": N_("bags of one pack that came back from one dispatch"),
}

CODES: Final[Mapping[str, Mapping[str, str]]] = {
    N_("code of a unit"): {
        "L S R B P D T": N_(
            "first letter of a code that the book issued: lot, sack, roast, blend, pack, dispatch, "
            "return"
        ),
        "A": N_("first letter of the code of a delivery that the book issued"),
        _LAST: N_("check character over letter and number (ISO/IEC 7064, MOD 37,36)"),
        _ANY_OTHER: N_("given by the house; each code stands for one unit and is never used again"),
    },
    N_("kind of a unit"): KINDS,
    "in_scope": {
        "start": N_("the case starts here"),
        "reached": N_("contains coffee of what the case starts at, however little"),
        "contact": N_(
            "may only have touched it on a machine or in a silo, hopper or tray, or was made of "
            "what may have; no mass is known of it and no total counts it"
        ),
    },
    N_("event"): {
        "made": N_("came into the book; 'said' is the act that made it"),
        "went_into": N_("coffee of it went into 'other'; below zero"),
        "adjusted": N_("became lighter or heavier; 'said' is the reason"),
        "moved": N_("was put at the place 'other'"),
        "held": N_("was stopped; 'said' is why"),
        "released": N_("a stop ended; 'said' is why"),
        "voided": N_("was booked by mistake and never was"),
    },
    N_("reason of an adjustment"): {
        "sample": N_("taken as a sample"),
        "spill": N_("spilled"),
        "count": N_("a stock count found less or more"),
        "moisture": N_("dried or took up water in storage"),
        "destroyed": N_("destroyed"),
        "draw_difference": N_("book against scale when a sack was used up"),
        "returned": N_(
            "bags that came back: off their dispatch, and by way of their pack into a return"
        ),
        "other": N_("anything else"),
    },
    N_("kind of a case"): {
        "inquiry": N_("nothing was decided yet"),
        "withdrawal": N_("coffee is taken back before it reaches consumers"),
        "recall": N_("consumers are asked for it too"),
    },
    N_("state of a case, step"): {
        "opened": N_("begun, with what set it off"),
        "scoped": N_("everything connected was frozen as it was known"),
        "stopped": N_("what was in the house was held"),
        "working_off": N_("consignees are told and report"),
        "decided": N_("its kind or class was changed"),
        "closed": N_("closed, with a reason"),
        "reopened": N_("opened again"),
    },
    N_("line of the log"): {
        "notice": N_("a consignee was told"),
        "acknowledgement": N_("a consignee said that the notice came"),
        "report": N_("a consignee said what became of its bags"),
    },
    N_("what became of bags"): {
        "made": N_("filled, or brought in by a dispatch or return that the case starts at"),
        "in_house": N_("here now, those that came back too"),
        "sent": N_("left to customers"),
        "returned": N_("came back, by the book"),
        "in_market": N_("sent and not come back"),
        "destroyed_here": N_("destroyed here"),
        "adjusted": N_("samples, spills and counts; below zero where more was found"),
        "held": N_("kept aside by a consignee, as it reported"),
        "destroyed": N_("destroyed by a consignee, as it reported"),
        "sold": N_("sold or used up, as a consignee reported"),
        "unaccounted": N_(
            "sent and neither come back nor reported; below zero where more is reported than was "
            "sent"
        ),
    },
    N_("figure of the balance"): {
        "received": N_("suspect coffee that came in, pro rata; the other figures add up to it"),
        "green_left": N_("left as green coffee"),
        "roasting_loss": N_("lost in roasting"),
        "in_process": N_("left, roasted or blended"),
        "packing_loss": N_("lost in packing"),
        "packed_left": N_("left in bags here"),
        "dispatched": N_("sent and not come back"),
        "adjusted": N_(
            "taken out as samples, spills and the like; below zero where more was found"
        ),
        "asked": N_("of a backward trace: in what was asked for"),
    },
    N_("column"): {
        "entry": N_("number of a line of the journal; no line is ever changed or taken out"),
        "happened_at": N_("when it happened, by the word of whoever booked it; UTC"),
        "recorded_at": N_("when the book learnt of it; UTC"),
        "by": N_("who was signed in"),
        "made_kg, left_kg": N_("when it was made, and what was left when the scope was frozen"),
        "left_now_kg": N_("what is left now"),
        "suspect_kg": N_("the part of it that came from the start of the case, pro rata"),
        "kg (events)": N_("what became of it; the rows of a unit add up to left_now_kg"),
        "kg (flows)": N_("what of the source went into the target"),
        "coverage_pct": N_("consignees that were told, of all"),
        "acknowledged_pct": N_("notices that were acknowledged, of those told"),
        "recovery_pct": N_("bags here, destroyed or held, of all that were made"),
    },
}


def code_rows(speech: Speech = PLAIN) -> Iterator[tuple[str, str, str]]:
    """List every code: where it stands, what it is, what it means; a code is its own name."""
    say = speech.gettext
    for where, codes in CODES.items():
        for code, meaning in codes.items():
            named = say(code) if code in {_LAST, _ANY_OTHER} else code
            yield say(where), named, say(meaning)
