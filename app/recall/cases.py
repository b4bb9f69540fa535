"""Cases by their codes, and the history they read their state off."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.ledger.posting import Pen
from app.ledger.tables import Entry
from app.recall.rules import Act, CaseKind, Step, refusal, state_of
from app.recall.schemas import ClassIn, ClassOut, StepOut
from app.recall.tables import RecallCase, RecallStep
from app.shared.db import AnySelect, next_number
from app.shared.problems import Refused


@dataclass(frozen=True)
class Case:
    """A case with its history."""

    row: RecallCase
    steps: Sequence[StepOut]

    @property
    def kind(self) -> CaseKind:
        return self.steps[-1].kind

    @property
    def classed(self) -> ClassOut | None:
        return self.steps[-1].classed

    @property
    def state(self) -> Step:
        return state_of(each.step for each in self.steps)

    def has_been(self, step: Step) -> bool:
        """Tell whether it ever came to a step."""
        return any(each.step is step for each in self.steps)


def case_at(session: Session, code: str) -> Case:
    """Find a case by its code."""
    rows = session.execute(
        _steps()
        .join(RecallCase, col(RecallCase.id) == col(RecallStep.case_id))
        .where(col(RecallCase.code) == code)
        .add_columns(RecallCase)
    ).all()
    if not rows:
        raise Refused("not-found", f"There is no recall case {code}.")
    return Case(rows[0].RecallCase, [_step(row) for row in rows])


def steps_of(session: Session, case_ids: Sequence[int]) -> dict[int, list[StepOut]]:
    """Read the histories of cases, each oldest first."""
    rows = session.execute(_steps().where(col(RecallStep.case_id).in_(case_ids)))
    found: dict[int, list[StepOut]] = {case_id: [] for case_id in case_ids}
    for row in rows:
        found[row[0].case_id].append(_step(row))
    return found


def _steps() -> AnySelect:
    return (
        select(RecallStep, col(Entry.recorded_at), col(Entry.who))
        .join(Entry, col(Entry.id) == col(RecallStep.entry_id))
        .order_by(col(RecallStep.id))
    )


def _step(row: Row[Any]) -> StepOut:
    kept: RecallStep = row[0]
    classed = None
    if kept.recall_class is not None and kept.jurisdiction is not None:
        classed = ClassOut(jurisdiction=kept.jurisdiction, named=kept.recall_class)
    return StepOut(
        step=Step(kept.step),
        kind=CaseKind(kept.kind),
        classed=classed,
        reason=kept.reason,
        at=row.recorded_at,
        by=row.who,
        entry=kept.entry_id,
    )


def require(case: Case, act: Act) -> None:
    """Refuse an act that the state of the case does not allow."""
    why = refusal(act, [each.step for each in case.steps], case.kind)
    if why is not None:
        raise Refused("recall-state", f"Case {case.row.code} {why}.", recall_state=case.state)


def take_step(
    pen: Pen,
    case: Case,
    step: Step,
    entry_id: int,
    *,
    kind: CaseKind | None = None,
    classed: ClassIn | ClassOut | None = None,
    reason: str | None = None,
) -> Case:
    """Add a step to the history; kind and class stay where none is given."""
    named = classed or case.classed
    taken = StepOut(
        step=step,
        kind=kind or case.kind,
        classed=ClassOut(jurisdiction=named.jurisdiction, named=named.named) if named else None,
        reason=reason,
        at=pen.now,
        by=pen.who,
        entry=entry_id,
    )
    write_step(pen, case.row.id, taken)
    return Case(case.row, [*case.steps, taken])


def write_step(pen: Pen, case_id: int, taken: StepOut) -> None:
    """Write a line of the history."""
    named = taken.classed
    pen.write(RecallStep, [{
        "id": next_number(pen.session, col(RecallStep.id)), "case_id": case_id, "step": taken.step,
        "kind": taken.kind, "jurisdiction": named.jurisdiction if named else None,
        "recall_class": named.named if named else None, "reason": taken.reason,
        "entry_id": taken.entry,
    }])  # fmt: skip
