"""Opening a case, freezing what it reaches, deciding on it, closing and reopening it.

The journal says what was done and to which case; words that may name a person stay in the tables.
"""

from sqlalchemy import select
from sqlmodel import col

from app.ledger.posting import Pen
from app.ledger.then import newest_entry
from app.recall.cases import Case, case_at, require, take_step, write_step
from app.recall.frozen import first_scope, freeze, newest
from app.recall.queries import case_out, open_points
from app.recall.rules import Act, Step
from app.recall.schemas import (
    CaseIn,
    CaseOut,
    ClassOut,
    ClosedOut,
    DecisionIn,
    ReasonIn,
    ScopeIn,
    ScopeOut,
    StepOut,
)
from app.recall.scope import Scope
from app.recall.showing import whole
from app.recall.starts import StartIn
from app.recall.tables import RecallCase
from app.shared.codes import issue
from app.shared.db import next_number
from app.shared.problems import Refused


def open_case(pen: Pen, asked: CaseIn) -> CaseOut:
    """Open a case; with a start its scope is frozen in the same entry."""
    case, _ = begin(pen, asked, drill=False)
    return case_out(pen.session, case)


def begin(pen: Pen, asked: CaseIn, *, drill: bool) -> tuple[Case, Scope | None]:
    """Write a case with its first steps, and its scope where it names a start."""
    at_entry = newest_entry(pen.session)
    number = next_number(pen.session, col(RecallCase.id))
    code = _code(pen, asked, number)
    scope = first_scope(pen.session, asked.start) if asked.start is not None else None
    said = {"recall": code, "kind": asked.kind, "drill": drill, "trigger": asked.trigger.kind}
    kept = {"start": asked.start.as_kept()} if asked.start is not None else {}
    entry_id = pen.note("recall opened", said | kept)
    row = RecallCase(
        id=number, code=code, drill=drill, trigger_kind=asked.trigger.kind,
        trigger_text=asked.trigger.text, hazard=asked.hazard, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    pen.session.flush()  # the steps refer to it
    named = asked.classed
    opened = StepOut(
        step=Step.OPENED, kind=asked.kind, reason=None, at=pen.now, by=pen.who, entry=entry_id,
        classed=ClassOut(jurisdiction=named.jurisdiction, named=named.named) if named else None,
    )  # fmt: skip
    write_step(pen, row.id, opened)
    case = Case(row, [opened])
    if scope is not None:
        freeze(pen, row.id, scope, entry_id, at_entry)
        case = take_step(pen, case, Step.SCOPED, entry_id)
    return case, scope


def _code(pen: Pen, asked: CaseIn, number: int) -> str:
    if asked.code is None:
        return issue("Q", number)
    taken = select(col(RecallCase.id)).where(col(RecallCase.code) == asked.code)
    if pen.session.scalar(taken) is not None:
        raise Refused(
            "code-taken", f"There is already a recall case {asked.code}.", codes=[asked.code]
        )
    return asked.code


def extend(pen: Pen, code: str, asked: ScopeIn) -> ScopeOut:
    """Freeze a new scope with one more start; the ones before stay as they were."""
    case = case_at(pen.session, code)
    require(case, Act.SCOPE)
    before: list[StartIn] = []
    if case.has_been(Step.SCOPED):
        before = list(newest(pen.session, case.row.id, code).scope.starts)
    at_entry = newest_entry(pen.session)
    scope = first_scope(pen.session, asked.start, before)
    entry_id = pen.note("recall scoped", {"recall": code, "start": asked.start.as_kept()})
    frozen = freeze(pen, case.row.id, scope, entry_id, at_entry)
    take_step(pen, case, Step.SCOPED, entry_id)
    return whole(frozen)


def decide(pen: Pen, code: str, asked: DecisionIn) -> CaseOut:
    """Decide on the kind or the class of a case."""
    case = case_at(pen.session, code)
    require(case, Act.DECIDE)
    entry_id = pen.note("recall decided", {"recall": code, "kind": asked.kind or case.kind})
    case = take_step(
        pen, case, Step.DECIDED, entry_id, kind=asked.kind, classed=asked.classed,
        reason=asked.reason,
    )  # fmt: skip
    return case_out(pen.session, case)


def close(pen: Pen, code: str, asked: ReasonIn) -> ClosedOut:
    """Close a case; what was not done is answered and does not stand in the way."""
    case = case_at(pen.session, code)
    require(case, Act.CLOSE)
    if case.row.drill:
        raise Refused("drill", f"{code} is a drill: complete it, and its clock stops.", recall=code)
    points = [each.text() for each in open_points(pen.session, case)]
    entry_id = pen.note("recall closed", {"recall": code, "open_points": points})
    case = take_step(pen, case, Step.CLOSED, entry_id, reason=asked.reason)
    return ClosedOut(**dict(case_out(pen.session, case)), open_points=points)


def reopen(pen: Pen, code: str, asked: ReasonIn) -> CaseOut:
    """Open a closed case again."""
    case = case_at(pen.session, code)
    require(case, Act.REOPEN)
    if case.row.drill:
        raise Refused("drill", f"{code} is a drill that is over: run another one.", recall=code)
    entry_id = pen.note("recall reopened", {"recall": code})
    case = take_step(pen, case, Step.REOPENED, entry_id, reason=asked.reason)
    return case_out(pen.session, case)
