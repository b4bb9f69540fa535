"""What is read of the units that a walk came to, as the book is now or as it was."""

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    BigInteger,
    BindParameter,
    ColumnElement,
    CompoundSelect,
    bindparam,
    case,
    func,
    select,
)
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Adjustment, Entry, Reason, Unit
from app.ledger.then import alive, left_then, on_hold_then
from app.ledger.walk import most_reached, one_more_than, refuse_beyond, walk_from
from app.packing.tables import Pack
from app.places.tables import Location, Move
from app.sending.tables import Returned
from app.shared.db import Among, AnySelect, OverIds
from app.tracing.schemas import Direction

UPTO: Final = bindparam("upto", type_=BigInteger())
"""The last entry that counts, in a statement that is built once."""


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
    recorded_at: datetime
    """When the book learnt of it."""
    bags: int | None
    """Of a pack and of bags that came back,"""
    nominal_g: int | None
    """with what one holds,"""
    destroyed_g: int
    """and what of them was destroyed in the house."""
    came_from: int | None
    """The dispatch that bags came back from."""


def rows_of(
    session: Session, statement: AnySelect | CompoundSelect[*tuple[Any, ...]]
) -> Sequence[Any]:
    """Read plain rows: by way of entities a long list of them costs half as much again."""
    return session.connection().execute(statement).all()


def reached(
    session: Session, start: Collection[int], direction: Direction, upto: int | None = None
) -> Iterator[Reached]:
    """Follow the flows and read every unit they reach, in one statement, in id order.

    A voided unit never was, and nothing came of it. With `upto` they are read as the book had them
    once it had that entry: those voided later live still. Ahead, what came back of a dispatch is
    followed with it.

    Raises:
        Refused: `reaches-too-far` where that is more than one request may reach.
    """
    ahead, most = direction is Direction.FORWARD, most_reached(session)
    rows = _walked.rows(session, start, ahead, upto is not None, most, upto=upto)
    refuse_beyond(most, rows)
    return _read(rows)


def read_units(session: Session, ids: Collection[int]) -> Iterator[Reached]:
    """Read these very units."""
    return _read(_named.rows(session, ids))


def _read(rows: Sequence[Any]) -> Iterator[Reached]:
    for (
        unit, code, kind, made_g, left_g, place, held, happened_at, adjusted_g, recorded_at,
        bags, nominal_g, destroyed_g, came_from,
    ) in rows:  # fmt: skip
        yield Reached(
            unit, code, kind, made_g, int(left_g), place, bool(held), happened_at, int(adjusted_g),
            recorded_at, bags, nominal_g, int(destroyed_g), came_from,
        )  # fmt: skip


@OverIds
def _walked(among: Among, forward: bool, then: bool, most: int | None) -> AnySelect:
    start: AnySelect = select(col(Unit.id)).where(among(col(Unit.id)))
    if forward:
        back = select(col(Returned.unit_id)).where(among(col(Returned.dispatch_id)))
        start = select(start.union_all(back).subquery().c.id)
    found = walk_from(start, forward=forward)
    reached = _units(then=then).where(col(Unit.id).in_(select(found.c.id)))
    return reached.limit(one_more_than(most))


@OverIds
def _named(among: Among) -> AnySelect:
    return _units(then=False).where(among(col(Unit.id)))


def _units(*, then: bool) -> AnySelect:
    held = on_hold_then(col(Unit.id), UPTO) if then else on_hold(col(Unit.id))
    bags = func.coalesce(col(Pack.bags), col(Returned.bags))
    destroyed = _changed(col(Adjustment.reason) == Reason.DESTROYED, then=then)
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            left_then(UPTO) if then else col(Unit.left_g),
            place_then(UPTO) if then else _place(),
            held,
            col(Entry.happened_at),
            _changed(col(Adjustment.reason) != Reason.RETURNED, then=then),
            col(Entry.recorded_at),
            bags,
            func.coalesce(col(Pack.nominal_g), col(Returned.nominal_g)),
            case((bags.is_not(None), -destroyed), else_=0),
            col(Returned.dispatch_id),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Pack, col(Pack.unit_id) == col(Unit.id))
        .outerjoin(Returned, col(Returned.unit_id) == col(Unit.id))
        .where(alive(Unit, UPTO if then else None))
        .order_by(col(Unit.id))
    )


def _changed(why: ColumnElement[bool], *, then: bool) -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    """Build the sum of a unit's adjustments for some reasons."""
    known = [col(Adjustment.entry_id) <= UPTO] if then else []
    return (
        select(func.coalesce(func.sum(col(Adjustment.grams)), 0))
        .where(col(Adjustment.unit_id) == col(Unit.id), why, *known)
        .correlate(Unit)
        .scalar_subquery()
    )


def _place() -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    return (
        select(col(Location.code))
        .where(col(Location.id) == col(Unit.location_id))
        .correlate(Unit)
        .scalar_subquery()
    )


def place_then(upto: int | BindParameter[int]) -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    """Build where a unit stood by the last move that the book had by then."""
    return (
        select(col(Location.code))
        .join(Move, col(Move.to_id) == col(Location.id))
        .where(col(Move.unit_id) == col(Unit.id), col(Move.entry_id) <= upto)
        .order_by(col(Move.id).desc())
        .limit(1)
        .correlate(Unit)
        .scalar_subquery()
    )
