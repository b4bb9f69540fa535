"""What is read of the units that a walk came to, as the book is now or as it was."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Adjustment, Entry, Reason, Unit
from app.ledger.then import alive, figures_then, on_hold_then
from app.places.tables import Location, Move
from app.shared.db import Among, AnySelect, OverIds, among


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


def rows_of(session: Session, statement: AnySelect) -> Sequence[Any]:
    """Read plain rows: by way of entities a long list of them costs half as much again."""
    return session.connection().execute(statement).all()


def reached(session: Session, ids: Collection[int]) -> Iterable[Reached]:
    """Read the reached units; a voided one never was, and nothing came of it."""
    adjusted_g = dict(_adjusted.rows(session, ids))
    for unit_id, code, kind, made_g, left_g, place, held, happened_at, recorded_at in _units.rows(
        session, ids
    ):
        changed_g = int(adjusted_g.get(unit_id, 0))
        yield Reached(
            unit_id, code, kind, made_g, left_g, place, bool(held), happened_at, changed_g,
            recorded_at,
        )  # fmt: skip


@OverIds
def _adjusted(among: Among) -> AnySelect:
    return (
        select(col(Adjustment.unit_id), func.sum(col(Adjustment.grams)))
        .where(among(col(Adjustment.unit_id)), col(Adjustment.reason) != Reason.RETURNED)
        .group_by(col(Adjustment.unit_id))
    )


@OverIds
def _units(among: Among) -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Location.code),
            on_hold(col(Unit.id)),
            col(Entry.happened_at),
            col(Entry.recorded_at),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(among(col(Unit.id)), col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )


def reached_then(session: Session, ids: Collection[int], upto: int) -> Iterable[Reached]:
    """Read the units as the book had them once it had an entry: those voided later live still."""
    rows = rows_of(
        session,
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            on_hold_then(col(Unit.id), upto).label("held"),
            col(Entry.happened_at),
            col(Entry.recorded_at),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), ids), alive(Unit, upto))
        .order_by(col(Unit.id)),
    )
    figures = figures_then(session, {row.id: row.made_g for row in rows}, upto)
    places = places_then(session, [row.id for row in rows], upto)
    for row in rows:
        left_g, adjusted_g = figures[row.id]
        yield Reached(
            row.id, row.code, row.kind, row.made_g, left_g, places.get(row.id), bool(row.held),
            row.happened_at, adjusted_g, row.recorded_at,
        )  # fmt: skip


def places_then(session: Session, ids: Collection[int], upto: int) -> Mapping[int, str]:
    """Name where units stood by the last move that the book had by then."""
    last = (
        select(func.max(col(Move.id)))
        .where(among(session, col(Move.unit_id), ids), col(Move.entry_id) <= upto)
        .group_by(col(Move.unit_id))
    )
    rows = rows_of(
        session,
        select(col(Move.unit_id), col(Location.code))
        .join(Location, col(Location.id) == col(Move.to_id))
        .where(col(Move.id).in_(last)),
    )
    return {row[0]: row[1] for row in rows}
