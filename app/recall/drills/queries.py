"""Reading drills: each as it was completed, when the next is due, and how they went."""

import json
from datetime import date
from functools import cache
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Entry, Unit
from app.recall.cases import Case, case_at
from app.recall.drills.figures import find
from app.recall.drills.rules import goal_met, is_overdue, lacking, minutes_taken, next_due
from app.recall.drills.schemas import (
    BackwardFigures,
    DrillLine,
    DrillOut,
    Due,
    ForwardFigures,
    Gap,
    TrendPoint,
)
from app.recall.drills.tables import Drill, DrillReport, DrillSignOff
from app.recall.tables import RecallCase
from app.settings import Settings
from app.shared.answers import read_json
from app.shared.days import day_of, today_here
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.tracing.queries import CAUTION

TREND = 20


@cache
def _drills() -> AnySelect:
    lot, pack = aliased(Unit), aliased(Unit)
    begun, ended, signed = aliased(Entry), aliased(Entry), aliased(Entry)
    return (
        select(
            col(RecallCase.id), col(RecallCase.code), col(lot.code).label("lot"),
            col(pack.code).label("pack"), col(begun.recorded_at).label("started_at"),
            col(begun.who).label("started_by"), col(ended.recorded_at).label("completed_at"),
            col(ended.who).label("completed_by"), col(signed.recorded_at).label("signed_off_at"),
            col(signed.who).label("signed_off_by"), col(DrillReport.figures),
            col(DrillReport.gaps), col(DrillReport.own_gaps), col(DrillSignOff.note),
        )
        .join(Drill, col(Drill.case_id) == col(RecallCase.id))
        .join(begun, col(begun.id) == col(RecallCase.entry_id))
        .outerjoin(lot, col(lot.id) == col(Drill.lot_id))
        .outerjoin(pack, col(pack.id) == col(Drill.pack_id))
        .outerjoin(DrillReport, col(DrillReport.case_id) == col(RecallCase.id))
        .outerjoin(ended, col(ended.id) == col(DrillReport.entry_id))
        .outerjoin(DrillSignOff, col(DrillSignOff.case_id) == col(RecallCase.id))
        .outerjoin(signed, col(signed.id) == col(DrillSignOff.entry_id))
    )  # fmt: skip


def _line(row: Row[Any], settings: Settings) -> DrillLine:
    goal = settings.drill_goal_minutes
    if row.figures is not None:
        goal = int(json.loads(row.figures)["goal_minutes"])
    done = row.completed_at is not None
    return DrillLine(
        code=row.code,
        lot=row.lot,
        pack=row.pack,
        started_at=row.started_at,
        started_by=row.started_by,
        completed_at=row.completed_at,
        completed_by=row.completed_by,
        minutes=minutes_taken(row.started_at, row.completed_at) if done else None,
        goal_minutes=goal,
        goal_met=goal_met(row.started_at, row.completed_at, goal) if done else None,
        signed_off_at=row.signed_off_at,
        signed_off_by=row.signed_off_by,
    )


def drill_page(session: Session, page: Page, settings: Settings) -> PageOf:
    """Read drills in the order they were begun."""
    rows, following = turn_page(session, _drills(), col(RecallCase.id), page)
    return [_line(row, settings).model_dump(by_alias=True) for row in rows], following


def last_completed() -> AnySelect:
    """Select when the last drill was completed: one whose record lacks something does not count."""
    return (
        select(col(Entry.recorded_at).label("completed_at"))
        .join(DrillReport, col(DrillReport.entry_id) == col(Entry.id))
        .join(Drill, col(Drill.case_id) == col(DrillReport.case_id))
        .where(col(Drill.lot_id).is_not(None), col(Drill.pack_id).is_not(None))
        .order_by(col(DrillReport.entry_id).desc())
        .limit(1)
    )


def due(session: Session, settings: Settings) -> Due:
    """Tell when the next drill is due."""
    last = session.scalar(last_completed())
    day: date | None = day_of(last) if last is not None else None
    every = settings.drill_every_months
    return Due(
        every_months=every,
        last_completed_at=last,
        next_due_on=next_due(day, every),
        overdue=is_overdue(today_here(), day, every),
    )


def trend(session: Session, settings: Settings) -> list[TrendPoint]:
    """Read how the last drills went."""
    rows = session.execute(
        _drills().where(col(DrillReport.entry_id).is_not(None))
        .order_by(col(DrillReport.entry_id).desc()).limit(TREND)
    ).all()  # fmt: skip
    points = []
    for row in reversed(rows):
        line, figures = _line(row, settings), _figures(row.figures)
        forward, backward = _forward(figures), _backward(figures)
        accounted = [each.accounted_pct for each in (forward, backward) if each is not None]
        points.append(TrendPoint(
            code=line.code, completed_at=row.completed_at,
            minutes=minutes_taken(row.started_at, row.completed_at),
            goal_met=bool(line.goal_met), contact_pct=forward.contact_pct if forward else None,
            accounted_pct=min((each for each in accounted if each is not None), default=None),
        ))  # fmt: skip
    return points


def _figures(kept: str) -> dict[str, Any]:
    found: dict[str, Any] = read_json(kept)
    return found


def _forward(figures: dict[str, Any]) -> ForwardFigures | None:
    said = figures["forward"]
    return None if said is None else ForwardFigures.model_validate(said)


def _backward(figures: dict[str, Any]) -> BackwardFigures | None:
    said = figures["backward"]
    return None if said is None else BackwardFigures.model_validate(said)


def drill_of(session: Session, case: Case) -> Drill:
    """Find the drill that a case is of."""
    found: Drill = _of_case(session, case).Drill
    return found


def _of_case(session: Session, case: Case) -> Row[Any]:
    row = session.execute(
        _drills().add_columns(Drill).where(col(RecallCase.id) == case.row.id)
    ).first()
    if row is None:
        raise Refused("not-found", f"{case.row.code} is a recall case and no drill.")
    return row


def drill(session: Session, code: str, settings: Settings) -> DrillOut:
    """Read a drill: as it was completed or, while it runs, as the book has it now."""
    case = case_at(session, code)
    row = _of_case(session, case)
    completed = row.figures is not None
    if completed:
        figures = _figures(row.figures)
        forward, backward = _forward(figures), _backward(figures)
        gaps = [Gap.model_validate(each) for each in json.loads(row.gaps)]
        own = [str(each) for each in json.loads(row.own_gaps)]
    else:
        forward, backward, gaps = find(session, case)
        own = []
    lacks = lacking(forward=forward is not None, backward=backward is not None, completed=completed)
    return DrillOut(
        **dict(_line(row, settings)),
        pick=row.Drill.pick_id,
        state=case.state,
        scenario=case.row.trigger_text,
        forward=forward,
        backward=backward,
        gaps=gaps,
        own_gaps=own,
        complete=not lacks,
        lacks=lacks,
        sign_off_note=row.note,
        caution=CAUTION,
    )
