"""Reading what replaced what."""

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlmodel import col

from app.ledger.corrections.tables import Correction
from app.ledger.tables import Unit


def newest(session: Session, unit_id: int, upto: int | None = None) -> Unit | None:
    """Find the last of those that replaced a unit, one after another; None where none did.

    With `upto` only as the book said once it had that entry.
    """
    statement = select(col(Correction.new_unit_id)).where(col(Correction.old_unit_id) == unit_id)
    if upto is not None:
        statement = statement.where(col(Correction.entry_id) <= upto)
    first = statement.cte("successors", recursive=True)
    further = select(col(Correction.new_unit_id)).join(
        first, col(Correction.old_unit_id) == first.c.new_unit_id
    )
    if upto is not None:
        further = further.where(col(Correction.entry_id) <= upto)
    every = first.union(further)
    return session.scalars(
        select(Unit).join(every, every.c.new_unit_id == col(Unit.id)).order_by(col(Unit.id).desc())
    ).first()


def replaced_by(session: Session, unit_id: int, upto: int | None = None) -> str | None:
    """Name the unit that was booked in this one's place."""
    statement = (
        select(col(Unit.code))
        .join(Correction, col(Correction.new_unit_id) == col(Unit.id))
        .where(col(Correction.old_unit_id) == unit_id)
    )
    if upto is not None:
        statement = statement.where(col(Correction.entry_id) <= upto)
    return session.scalar(statement)


def replaces(session: Session, unit_id: int) -> list[str]:
    """Name the units in whose place this one was booked: one, but for bags that came back."""
    return list(session.scalars(
        select(col(Unit.code))
        .join(Correction, col(Correction.old_unit_id) == col(Unit.id))
        .where(col(Correction.new_unit_id) == unit_id)
        .order_by(col(Unit.id))
    ))  # fmt: skip
