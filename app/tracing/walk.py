"""The walk over the flows, and what is read of the units it reached."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import BigInteger, bindparam, func, select
from sqlmodel import Session, col

from app.ledger.tables import Flow, Unit, UnitKind
from app.ledger.then import alive
from app.ledger.walk import reach
from app.sending.tables import DispatchLine, Returned
from app.shared.db import Among, AnySelect, OverIds
from app.tracing.reached import Reached, reached, reached_then
from app.tracing.rules import Sent
from app.tracing.schemas import Direction
from app.tracing.spread import Inflows, Takings, inflows

UPTO: Final = bindparam("upto", type_=BigInteger())
"""The last entry that counts, in a statement that is built once."""


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
    upto: int | None = None
    """The last entry that counts, where the book is asked what it said then."""


def walk(
    session: Session, start: Collection[int], direction: Direction, upto: int | None = None
) -> Walk:
    """Follow the flows from the starting units as far as they go, or as far as they went then."""
    ids = reach(session, start, forward=direction is Direction.FORWARD)
    found = reached(session, ids) if upto is None else reached_then(session, ids, upto)
    units = {unit.id: unit for unit in found}
    return Walk(set(start), direction, units, _flows.rows(session, units), upto)


@OverIds
def _flows(among: Among) -> AnySelect:
    return (
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams))
        .where(among(col(Flow.target_id)))
        .order_by(col(Flow.target_id), col(Flow.source_id))
    )


class CameBack(NamedTuple):
    """Bags of one pack that came back from one dispatch."""

    unit: int
    dispatch: int


def came_back_from(
    session: Session, dispatches: Collection[int], upto: int | None = None
) -> list[CameBack]:
    """Find what came back from dispatches: it was in them, though its flow is from the pack."""
    rows = _returned.rows(session, dispatches, upto is not None, upto=upto)
    return [CameBack(*row) for row in rows]


@OverIds
def _returned(among: Among, then: bool) -> AnySelect:
    return (
        select(col(Returned.unit_id), col(Returned.dispatch_id))
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(col(Returned.dispatch_id)), alive(Unit, UPTO if then else None))
    )


class Followed(NamedTuple):
    """A walk, and what came back of the dispatches that it was asked of."""

    walked: Walk
    back: Sequence[CameBack]


def follow(
    session: Session, asked: Collection[int], direction: Direction, upto: int | None = None
) -> Followed:
    """Follow units; ahead, what came back of a dispatch is followed with it."""
    back = came_back_from(session, asked, upto)
    came = [bags.unit for bags in back] if direction is Direction.FORWARD else []
    return Followed(walk(session, sorted({*asked, *came}), direction, upto), back)


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
    back = _came_back(session, dispatches, walked.upto)
    lines = _lines.rows(session, dispatches)
    return [
        Sent(dispatch, pack, bags, grams, *back.get((dispatch, pack), (0, 0)))
        for dispatch, pack, bags, grams in lines
        if pack in walked.units or dispatch in walked.start
    ]


@OverIds
def _lines(among: Among) -> AnySelect:
    return (
        select(
            col(DispatchLine.dispatch_id),
            col(DispatchLine.pack_id),
            col(DispatchLine.bags),
            col(DispatchLine.grams),
        )
        .where(among(col(DispatchLine.dispatch_id)))
        .order_by(col(DispatchLine.dispatch_id), col(DispatchLine.pack_id))
    )


def _came_back(
    session: Session, dispatches: Collection[int], upto: int | None
) -> Mapping[tuple[int, int], tuple[int, int]]:
    rows = _back.rows(session, dispatches, upto is not None, upto=upto)
    return {(dispatch, pack): (int(bags), int(grams)) for dispatch, pack, bags, grams in rows}


@OverIds
def _back(among: Among, then: bool) -> AnySelect:
    return (
        select(
            col(Returned.dispatch_id),
            col(Returned.pack_id),
            func.sum(col(Returned.bags)),
            func.sum(col(Unit.made_g)),
        )
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(col(Returned.dispatch_id)), alive(Unit, UPTO if then else None))
        .group_by(col(Returned.dispatch_id), col(Returned.pack_id))
    )
