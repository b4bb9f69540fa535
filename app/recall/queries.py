"""Reading cases, their scopes and all that was written about them."""

from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.recall.cases import Case, case_at, steps_of
from app.recall.frozen import Frozen, all_of, newest, numbered, scope_now
from app.recall.reconciling import reconcile
from app.recall.reports import Effectiveness, ReconciliationOut
from app.recall.rules import Step, state_of
from app.recall.schemas import (
    CaseLine,
    CaseOut,
    ScopeOut,
)
from app.recall.scope import Scope
from app.recall.showing import brief, whole
from app.recall.tables import (
    RecallCase,
    RecallScope,
    RecallScopeUnit,
    TriggerKind,
)
from app.recall.written import log, written_of
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.speech import N_, PLAIN, Speech
from app.standards.recalls import duty
from app.tracing.queries import CAUTION


def case_line(case: Case) -> CaseLine:
    """Show a case in a line."""
    first = case.steps[0]
    return CaseLine(
        code=case.row.code,
        drill=case.row.drill,
        kind=case.kind,
        state=case.state,
        trigger=TriggerKind(case.row.trigger_kind),
        opened_at=first.at,
        opened_by=first.by,
    )


def case_out(session: Session, case: Case) -> CaseOut:
    """Show a case with its history and its newest scope."""
    return _case_out(case, _newest(session, case))


def _newest(session: Session, case: Case) -> Frozen | None:
    return newest(session, case.row.id, case.row.code) if case.has_been(Step.SCOPED) else None


def _case_out(case: Case, frozen: Frozen | None) -> CaseOut:
    scope = brief(frozen) if frozen else None
    return CaseOut(
        **dict(case_line(case)),
        classed=case.classed,
        trigger_text=case.row.trigger_text,
        hazard=case.row.hazard,
        steps=list(case.steps),
        scope=scope,
        duty=duty(left_the_house=scope.sent_bags > 0, at_consumers=None) if scope else None,
        caution=CAUTION,
    )


def case(session: Session, code: str) -> CaseOut:
    """Read one case."""
    return case_out(session, case_at(session, code))


class Point(NamedTuple):
    """Something that is not done yet: words with places for figures, and the figures."""

    words: str
    number: int = 0
    of: int = 0

    def text(self, speech: Speech = PLAIN) -> str:
        """Say it."""
        told = {"number": speech.number(self.number), "of": speech.number(self.of)}
        return speech.gettext(self.words) % told


class Everything(NamedTuple):
    """A case with all that is said of it."""

    case: CaseOut
    scope: ScopeOut | None
    told: ReconciliationOut | None
    open_points: list[Point]
    """None of a case that is closed."""
    log: list[dict[str, object]]


def everything(session: Session, code: str) -> Everything:
    """Read a case; what it reaches now and what was written of it is read once for all of it."""
    found = case_at(session, code)
    written = written_of(session, found.row.id)
    frozen = _newest(session, found)
    if frozen is None:
        return Everything(_case_out(found, None), None, None, [], log(written))
    reached = scope_now(session, frozen)
    told = reconcile(session, found, reached, written)
    return Everything(
        _case_out(found, frozen),
        whole(frozen),
        told,
        [] if found.state is Step.CLOSED else points_of(found, reached, told.effectiveness),
        log(written),
    )


def case_page(session: Session, page: Page, *, drill: bool | None) -> PageOf:
    """Read cases in the order they were opened."""
    statement: AnySelect = select(col(RecallCase.id), RecallCase)
    if drill is not None:
        statement = statement.where(col(RecallCase.drill) == drill)
    rows, following = turn_page(session, statement, col(RecallCase.id), page)
    steps = steps_of(session, [row.id for row in rows])
    return [
        case_line(Case(row.RecallCase, steps[row.id])).model_dump(by_alias=True) for row in rows
    ], following


def scopes(session: Session, code: str) -> PageOf:
    """Read every scope of a case that was frozen, added up."""
    found = all_of(session, case_at(session, code).row.id)
    return [brief(each).model_dump(by_alias=True) for each in found], None


def scope(session: Session, code: str, number: int) -> ScopeOut:
    """Read one frozen scope whole."""
    return whole(numbered(session, case_at(session, code).row.id, code, number))


def open_points(session: Session, case: Case) -> list[Point]:
    """Say what is not done yet about a case."""
    if not case.has_been(Step.SCOPED):
        return [Point(N_("no scope was frozen"))]
    now = scope_now(session, newest(session, case.row.id, case.row.code))
    told = reconcile(session, case, now, written_of(session, case.row.id))
    return points_of(case, now, told.effectiveness)


def points_of(case: Case, now: Scope, told: Effectiveness) -> list[Point]:
    """Say what is not done yet about a scope as it is now."""
    free = sum(1 for unit in now.units if unit.free)
    silent, unheard = told.consignees - told.notified, told.notified - told.acknowledged
    lost = told.unaccounted_bags
    points = (
        (not case.has_been(Step.STOPPED), Point(N_("nothing was stopped"))),
        (
            case.state is Step.SCOPED and case.has_been(Step.STOPPED),
            Point(N_("the scope was extended after the last stop")),
        ),
        (free > 0, Point(N_("%(number)s units in the house are not held"), free)),
        (
            silent > 0,
            Point(N_("%(number)s of %(of)s consignees were not told"), silent, told.consignees),
        ),
        (
            unheard > 0,
            Point(N_("%(number)s of %(of)s notices were not acknowledged"), unheard, told.notified),
        ),
        (lost != 0, Point(N_("%(number)s bags are unaccounted for"), lost)),
    )
    return [said for is_open, said in points if is_open]


def is_in_open_case(session: Session, unit_id: int) -> bool:
    """Tell whether any frozen scope of a case that is not closed reached a unit; drills do not."""
    cases = session.scalars(
        select(col(RecallScope.case_id))
        .join(RecallScopeUnit, col(RecallScopeUnit.scope_id) == col(RecallScope.id))
        .join(RecallCase, col(RecallCase.id) == col(RecallScope.case_id))
        .where(col(RecallScopeUnit.unit_id) == unit_id, col(RecallCase.drill).is_(False))
        .distinct()
    ).all()
    return any(state is not Step.CLOSED for state in state_by_case(session, list(cases)).values())


def state_by_case(session: Session, case_ids: list[int]) -> dict[int, Step]:
    """Read the state of cases."""
    return {
        case_id: state_of(step.step for step in steps)
        for case_id, steps in steps_of(session, case_ids).items()
    }
