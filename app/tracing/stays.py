"""Stays: what stood at a place, from the move that brought it to the one that took it away."""

from datetime import datetime
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import named
from app.ledger.tables import Adjustment, Entry, Flow, Reason, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.tables import Move
from app.shared.problems import Refused


def stood_at(
    session: Session, code: str, since: datetime | None, until: datetime | None
) -> list[Unit]:
    """Find what stood at a place during a time, both ends included.

    A stay begins with the move that brought the unit and ends with the next one, or when the last
    of it was used or taken out.
    """
    place = named(session, LOCATIONS, code, "#/location")
    next_move, coming, leaving = aliased(Move), aliased(Entry), aliased(Entry)
    left_by = (
        select(func.min(col(next_move.id)))
        .where(col(next_move.unit_id) == col(Move.unit_id), col(next_move.id) > col(Move.id))
        .correlate(Move)
        .scalar_subquery()
    )
    leave = aliased(Move)
    statement = (
        select(Unit)
        .join(Move, col(Move.unit_id) == col(Unit.id))
        .join(coming, col(coming.id) == col(Move.entry_id))
        .outerjoin(leave, col(leave.id) == left_by)
        .outerjoin(leaving, col(leaving.id) == col(leave.entry_id))
        .where(col(Move.to_id) == place.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    if until is not None:
        statement = statement.where(col(coming.happened_at) <= until)
    if since is not None:
        statement = statement.where(
            or_(col(leaving.happened_at).is_(None), col(leaving.happened_at) >= since),
            or_(col(Unit.left_g) > 0, _last_use() >= since, _last_adjustment() >= since),
        )
    units = list(session.scalars(statement).unique())
    if not units:
        raise Refused("not-found", f"Nothing stood at {place.code} during that time.")
    return units


def _last_use() -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    user, use = aliased(Unit), aliased(Entry)
    return (
        select(func.max(col(use.happened_at)))
        .join(user, col(user.born_entry_id) == col(use.id))
        .join(Flow, col(Flow.target_id) == col(user.id))
        .where(col(Flow.source_id) == col(Unit.id), col(user.voided_entry_id).is_(None))
        .where(col(user.kind) != UnitKind.RETURN)  # bags that came back had left before
        .correlate(Unit)
        .scalar_subquery()
    )


def _last_adjustment() -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    entry = aliased(Entry)
    return (
        select(func.max(col(entry.happened_at)))
        .join(Adjustment, col(Adjustment.entry_id) == col(entry.id))
        .where(col(Adjustment.unit_id) == col(Unit.id))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .correlate(Unit)
        .scalar_subquery()
    )
