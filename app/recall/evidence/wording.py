"""What the papers of a case call kinds, steps, causes and figures, in the language of a reader.

In English a term of the API is its own word, so that it is found again in the tables.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from app.recall.drills.wording import scenario_text
from app.recall.schemas import CaseOut
from app.recall.tables import TriggerKind
from app.shared.speech import N_, PLAIN, Speech, at_here

WORDS: Final = frozenset({
    N_("lot"), N_("sack"), N_("roast"), N_("blend"), N_("pack"), N_("dispatch"), N_("return"),
    N_("recall"), N_("withdrawal"), N_("inquiry"),
    N_("complaint"), N_("lab result"), N_("supplier notice"), N_("reading"),
    N_("place and time"), N_("machine and time"), N_("packaging lot"), N_("drill"), N_("other"),
    N_("opened"), N_("scoped"), N_("stopped"), N_("working off"), N_("decided"), N_("closed"),
    N_("reopened"), N_("notice"), N_("acknowledgement"), N_("report"),
    N_("email"), N_("phone"), N_("letter"), N_("visit"),
    N_("received"), N_("green left"), N_("roasting loss"), N_("in process"), N_("packing loss"),
    N_("packed left"), N_("dispatched"), N_("adjusted"), N_("asked"),
})  # fmt: skip
_STARTS: Final[Mapping[str, str]] = {
    "units": N_("units %(said)s"),
    "location": N_("location %(said)s"),
    "machine": N_("machine %(said)s"),
    "material_lot": N_("material lot %(said)s"),
    "reading": N_("reading %(said)s"),
    "from": N_("from %(said)s"),
    "to": N_("to %(said)s"),
    "behind": N_("behind %(said)s"),
}
"""By what a start was named, as a frozen scope keeps it."""
DRILL: Final = N_("DRILL")
"""At the head and in the foot of each page of a drill."""


def word(term: str, speech: Speech = PLAIN) -> str:
    """Say a term of the API as a word; one that has none stands as it is."""
    said = term.replace("_", " ")
    return speech.gettext(said) if said in WORDS else said


def first_large(said: str) -> str:
    """Begin with a capital and leave the others: nouns have theirs in some languages."""
    return said[:1].upper() + said[1:]


def heading(case: CaseOut, speech: Speech = PLAIN) -> str:
    """Name a case."""
    return f"{first_large(word('drill' if case.drill else case.kind, speech))} {case.code}"


def set_off(case: CaseOut, speech: Speech = PLAIN) -> str:
    """Say what set a case off; what somebody wrote stands as it was written."""
    told = case.trigger_text
    if case.trigger is TriggerKind.DRILL:
        told = scenario_text(told, speech)
    return f"{word(case.trigger, speech)}: {told}"


def started_at(start: Mapping[str, Any], speech: Speech = PLAIN) -> str:
    """Say what a case starts at."""

    def said(name: str, value: Any) -> str:  # noqa: ANN401 - as JSON has it
        match name:
            case "units":
                return ", ".join(value)
            case "from" | "to":
                return at_here(datetime.fromisoformat(value), speech)
            case "behind":
                return word(value, speech)
            case _:
                return str(value)

    return ", ".join(
        speech.gettext(_STARTS[name]) % {"said": said(name, value)} for name, value in start.items()
    )
