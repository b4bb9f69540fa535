"""The walk over the flows, and what is read of the units it reached."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Adjustment, Entry, Flow, Reason, Unit
from app.places.tables import Location
from app.sending.tables import DispatchLine, Returned
from app.shared.db import among
from app.tracing.rules import SentLine, Traced
from app.tracing.schemas import Direction


class Reached(NamedTuple):
    """A unit the walk came to."""

    id: int
    code: str
    kind: str
    made_g: int
    left_g: int
    location: str | None
    held: bool
    happened_at: datetime


@dataclass(frozen=True)
class Walk:
    """Everything a trace is computed from."""

    start: Collection[int]
    direction: Direction
    units: Mapping[int, Reached]
    """In id order."""
    flows: list[tuple[int, int, int]]
    """Every flow into a reached unit: source, target, grams. Sources may be outside, forward."""
    adjusted_g: Mapping[int, int]


def walk(session: Session, start: Collection[int], direction: Direction) -> Walk:
    """Follow the flows from the starting units as far as they go."""
    ids = _reach(session, start, direction)
    units = {unit.id: unit for unit in _units(session, ids)}
    flows = session.execute(
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams)).where(
            among(session, col(Flow.target_id), list(units))
        )
    ).all()
    adjusted = session.execute(
        select(col(Adjustment.unit_id), func.sum(col(Adjustment.grams)))
        .where(among(session, col(Adjustment.unit_id), list(units)))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .group_by(col(Adjustment.unit_id))
    )
    return Walk(
        set(start), direction, units, [(s, t, g) for s, t, g in flows],
        {unit_id: int(grams) for unit_id, grams in adjusted},
    )  # fmt: skip


def _reach(session: Session, start: Collection[int], direction: Direction) -> list[int]:
    """Name every unit reached, in one recursive statement.

    `UNION` drops what was reached before, so the work grows with the units and flows
    reached and not with the number of paths between them.
    """
    forward = direction is Direction.FORWARD
    here, there = (
        (col(Flow.source_id), col(Flow.target_id))
        if forward
        else (col(Flow.target_id), col(Flow.source_id))
    )
    reached = select(col(Unit.id).label("id")).where(among(session, col(Unit.id), start)).cte(
        "reached", recursive=True
    )  # fmt: skip
    reached = reached.union(select(there).join(reached, here == reached.c.id))
    return list(session.scalars(select(reached.c.id)))


def _units(session: Session, ids: Collection[int]) -> Iterable[Reached]:
    """Read the reached units; a voided one never was, and nothing came of it."""
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Location.code),
            on_hold(col(Unit.id)),
            col(Entry.happened_at),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.id), ids), col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    return (Reached(*row) for row in rows)


def traced(walked: Walk) -> dict[int, Traced]:
    """Name what a balance needs of each unit."""
    return {
        unit.id: Traced(unit.kind, unit.made_g, unit.left_g, walked.adjusted_g.get(unit.id, 0))
        for unit in walked.units.values()
    }


class Sent(NamedTuple):
    """Bags of one pack in one dispatch."""

    dispatch: int
    pack: int
    bags: int
    grams: int
    back_bags: int
    back_g: int


def sent_lines(session: Session, walked: Walk) -> list[Sent]:
    """Read the lines of reached dispatches that hold reached bags, and what came back of them.

    A dispatch that is itself a start counts with all its lines.
    """
    dispatches = [unit.id for unit in walked.units.values() if unit.kind == "dispatch"]
    back = _came_back(session, dispatches)
    rows = session.execute(
        select(
            col(DispatchLine.dispatch_id),
            col(DispatchLine.pack_id),
            col(DispatchLine.bags),
            col(DispatchLine.grams),
        )
        .where(among(session, col(DispatchLine.dispatch_id), dispatches))
        .order_by(col(DispatchLine.dispatch_id), col(DispatchLine.pack_id))
    )
    return [
        Sent(dispatch, pack, bags, grams, *back.get((dispatch, pack), (0, 0)))
        for dispatch, pack, bags, grams in rows
        if pack in walked.units or dispatch in walked.start
    ]


def _came_back(
    session: Session, dispatches: Collection[int]
) -> Mapping[tuple[int, int], tuple[int, int]]:
    rows = session.execute(
        select(
            col(Returned.dispatch_id),
            col(Returned.pack_id),
            func.sum(col(Returned.bags)),
            func.sum(col(Unit.made_g)),
        )
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(session, col(Returned.dispatch_id), dispatches))
        .where(col(Unit.voided_entry_id).is_(None))
        .group_by(col(Returned.dispatch_id), col(Returned.pack_id))
    )
    return {(dispatch, pack): (int(bags), int(grams)) for dispatch, pack, bags, grams in rows}


def still_out(lines: Iterable[Sent]) -> list[SentLine]:
    """Leave of each line what has not come back."""
    return [SentLine(line.dispatch, line.pack, line.grams - line.back_g) for line in lines]
