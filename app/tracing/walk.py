"""The walk over the flows, and what is read of the units it reached."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Adjustment, Entry, Flow, Reason, Unit, UnitKind
from app.ledger.walk import reach
from app.places.tables import Location
from app.sending.tables import DispatchLine, Returned
from app.shared.db import AnySelect, among
from app.tracing.rules import Sent
from app.tracing.schemas import Direction
from app.tracing.spread import Inflows, Takings, inflows


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
    adjusted_g: int
    """Sum of its adjustments, but for bags that came back."""


@dataclass(frozen=True)
class Walk:
    """Everything a trace is computed from."""

    start: Collection[int]
    direction: Direction
    units: Mapping[int, Reached]
    """In id order."""
    flows: Sequence[tuple[int, int, int]]
    """Every flow into a reached unit: source, target, grams, by target and source.

    Forward, a source may be outside of what was reached.
    """


def walk(session: Session, start: Collection[int], direction: Direction) -> Walk:
    """Follow the flows from the starting units as far as they go."""
    ids = reach(session, start, forward=direction is Direction.FORWARD)
    units = {unit.id: unit for unit in _units(session, ids)}
    flows = _rows(
        session,
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams))
        .where(among(session, col(Flow.target_id), list(units)))
        .order_by(col(Flow.target_id), col(Flow.source_id)),
    )
    return Walk(set(start), direction, units, flows)


def _rows(session: Session, statement: AnySelect) -> Sequence[Any]:
    """Read plain rows: by way of entities a long list of them costs half as much again."""
    return session.connection().execute(statement).all()


def _units(session: Session, ids: Collection[int]) -> Iterable[Reached]:
    """Read the reached units; a voided one never was, and nothing came of it."""
    adjusted_g = dict(_rows(
        session,
        select(col(Adjustment.unit_id), func.sum(col(Adjustment.grams)))
        .where(among(session, col(Adjustment.unit_id), ids))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .group_by(col(Adjustment.unit_id)),
    ))  # fmt: skip
    rows = _rows(
        session,
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
        .order_by(col(Unit.id)),
    )
    for unit_id, code, kind, made_g, left_g, location, held, happened_at in rows:
        changed_g = int(adjusted_g.get(unit_id, 0))
        yield Reached(
            unit_id, code, kind, made_g, left_g, location, bool(held), happened_at, changed_g
        )


class CameBack(NamedTuple):
    """Bags of one pack that came back from one dispatch."""

    unit: int
    dispatch: int


def came_back_from(session: Session, dispatches: Collection[int]) -> list[CameBack]:
    """Find what came back from dispatches: it was in them, though its flow is from the pack."""
    rows = session.execute(
        select(col(Returned.unit_id), col(Returned.dispatch_id))
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(session, col(Returned.dispatch_id), dispatches))
        .where(col(Unit.voided_entry_id).is_(None))
    )
    return [CameBack(*row) for row in rows]


def by_way_of_dispatches(walked: Walk, came_back: Iterable[CameBack]) -> Inflows:
    """Gather the flows, letting what came back from a dispatch come out of it.

    So bags that were in an asked dispatch and are asked again as a return count once.
    """
    into = inflows(walked.flows)
    for bags in came_back:
        if bags.unit in into:
            whole_g = into[bags.unit].whole
            into[bags.unit] = Takings(whole_g, [(bags.dispatch, whole_g)])
    return into


def sent_lines(session: Session, walked: Walk) -> list[Sent]:
    """Read the lines of reached dispatches that hold reached bags, and what came back of them.

    A dispatch that is itself a start counts with all its lines.
    """
    dispatches = [unit.id for unit in walked.units.values() if unit.kind == UnitKind.DISPATCH]
    back = _came_back(session, dispatches)
    lines = _rows(
        session,
        select(
            col(DispatchLine.dispatch_id),
            col(DispatchLine.pack_id),
            col(DispatchLine.bags),
            col(DispatchLine.grams),
        )
        .where(among(session, col(DispatchLine.dispatch_id), dispatches))
        .order_by(col(DispatchLine.dispatch_id), col(DispatchLine.pack_id)),
    )
    return [
        Sent(dispatch, pack, bags, grams, *back.get((dispatch, pack), (0, 0)))
        for dispatch, pack, bags, grams in lines
        if pack in walked.units or dispatch in walked.start
    ]


def _came_back(
    session: Session, dispatches: Collection[int]
) -> Mapping[tuple[int, int], tuple[int, int]]:
    rows = _rows(
        session,
        select(
            col(Returned.dispatch_id),
            col(Returned.pack_id),
            func.sum(col(Returned.bags)),
            func.sum(col(Unit.made_g)),
        )
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(session, col(Returned.dispatch_id), dispatches))
        .where(col(Unit.voided_entry_id).is_(None))
        .group_by(col(Returned.dispatch_id), col(Returned.pack_id)),
    )
    return {(dispatch, pack): (int(bags), int(grams)) for dispatch, pack, bags, grams in rows}
