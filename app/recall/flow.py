"""The flow of a case: a frozen scope as the book had it at the entry it knew."""

from typing import NamedTuple

from sqlmodel import Session

from app.recall.cases import Case, case_at
from app.recall.frozen import Frozen, newest, numbered
from app.recall.scope import START
from app.shared.speech import PLAIN, Speech
from app.tracing.flow.queries import flow_of_units
from app.tracing.flow.rules import Flow
from app.tracing.schemas import Direction


class FlowOfCase(NamedTuple):
    """A case with the flow of one of its scopes."""

    case: Case
    frozen: Frozen
    flow: Flow


def flow_of_case(session: Session, code: str, number: int | None = None) -> FlowOfCase:
    """Follow the coffee of a scope, the newest forward one where none is named."""
    case = case_at(session, code)
    if number is None:
        frozen = newest(session, case.row.id, code)
    else:
        frozen = numbered(session, case.row.id, code, number)
    return FlowOfCase(case, frozen, flow_of_scope(session, frozen))


def flow_of_scope(session: Session, frozen: Frozen) -> Flow:
    """Follow the coffee from the units that a scope starts at.

    It is walked anew in the book as it was then: flows are never changed.
    """
    starts = [unit.id for unit in frozen.scope.units if unit.place == START]
    return flow_of_units(session, starts, frozen.scope.direction, frozen.at_entry)


def title(case: Case, frozen: Frozen, speech: Speech = PLAIN) -> str:
    """Say what the picture of a scope shows."""
    what = speech.gettext("Drill") if case.row.drill else speech.gettext("Case")
    ahead = frozen.scope.direction is Direction.FORWARD
    there, back = (
        speech.gettext("where the coffee went"),
        speech.gettext("where the coffee came from"),
    )
    said = speech.gettext(
        "%(what)s %(code)s, scope %(scope)s: %(went)s, as the book had it at entry %(entry)s"
    )
    return said % {
        "what": what, "code": case.row.code, "scope": frozen.number,
        "went": there if ahead else back, "entry": frozen.at_entry,
    }  # fmt: skip
