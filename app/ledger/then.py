"""The book as it was: what it said once it had a certain entry, and none that came later.

Two times are kept apart. When something happened is the word of whoever booked it; when the book
learnt of it is the book's own, and that is what a question about what was known then goes by.
"""

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, ColumnElement, and_, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.corrections.queries import newest
from app.ledger.queries import is_held, unknown, voided
from app.ledger.tables import (
    Adjustment,
    Entry,
    Flow,
    Hold,
    HoldRelease,
    HoldUnit,
    Unit,
)
from app.shared.db import IdColumn
from app.shared.problems import Refused
from app.shared.times import now, text

_AHEAD = timedelta(minutes=5)
_NEWEST = select(func.max(col(Entry.id)))


class AsOf(NamedTuple):
    """Which state of the book is asked for."""

    moment: datetime | None
    """None for the newest."""
    entry: int
    """The last entry that counts."""

    @property
    def upto(self) -> int | None:
        """The last entry that counts, or None where nothing has to be left out."""
        return None if self.moment is None else self.entry

    def as_told(self) -> dict[str, object]:
        """Say which state it is."""
        return {"as_of": text(self.moment) if self.moment else None, "entry": self.entry}


def newest_entry(session: Session) -> int:
    """Number the last entry of the journal; 0 in an empty book."""
    return session.connection().scalar(_NEWEST) or 0


def as_of(session: Session, moment: datetime | None) -> AsOf:
    """Find the last entry that the book had at a moment.

    Raises:
        Refused: `invalid` for a moment that lies ahead.
    """
    if moment is None:
        return AsOf(None, newest_entry(session))
    if moment > now() + _AHEAD:
        said = f"{text(moment)} lies ahead: what the book will say nobody knows"
        raise Refused("invalid", said, errors=[{"parameter": "as_of", "detail": said}])
    entry = session.scalar(
        select(col(Entry.id))
        .where(col(Entry.recorded_at) <= moment)
        .order_by(col(Entry.recorded_at).desc(), col(Entry.id).desc())
        .limit(1)
    )
    return AsOf(moment, entry or 0)


def alive(unit: type[Unit], upto: int | BindParameter[int] | None) -> ColumnElement[bool]:
    """Tell in a statement whether a unit was in the book and not voided."""
    never_voided = col(unit.voided_entry_id).is_(None)
    if upto is None:
        return never_voided
    later = or_(never_voided, col(unit.voided_entry_id) > upto)
    return and_(col(unit.born_entry_id) <= upto, later)


def standing(session: Session, unit: Unit, when: AsOf) -> Unit:
    """Pass a unit on, or what had been booked in its place.

    Raises:
        Refused: `unknown-code` for what was not in the book then; `voided`.
    """
    if unit.born_entry_id > when.entry:
        raise _not_yet(session, unit, when)
    if _lives(unit, when):
        return unit
    successor = newest(session, unit.id, when.upto)
    if successor is None:
        raise voided(unit) if when.upto is None else _voided_then(unit, when)
    if not _lives(successor, when):
        raise _voided_then(successor, when)
    return successor


def there_then(session: Session, unit: Unit, when: AsOf) -> Unit:
    """Pass a unit on, voided or not, unless the book did not have it then."""
    if unit.born_entry_id > when.entry:
        raise _not_yet(session, unit, when)
    return unit


def is_voided(unit: Unit, when: AsOf) -> bool:
    """Tell whether a unit had been voided."""
    return not _lives(unit, when)


def _lives(unit: Unit, when: AsOf) -> bool:
    return unit.voided_entry_id is None or unit.voided_entry_id > when.entry


def _not_yet(session: Session, unit: Unit, when: AsOf) -> Refused:
    if when.moment is None:
        return unknown(unit.code)
    learnt = session.get_one(Entry, unit.born_entry_id).recorded_at
    return Refused(
        "unknown-code",
        f"{unit.code} was not in the book at {text(when.moment)}: it was recorded at "
        f"{text(learnt)}.",
        code=unit.code,
        recorded_at=text(learnt),
    )


def _voided_then(unit: Unit, when: AsOf) -> Refused:
    at = f" at {text(when.moment)}" if when.moment else ""
    return Refused("voided", f"{unit.kind} {unit.code} had been voided{at}.", unit=unit.code)


def left_then(upto: int | BindParameter[int]) -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    """Build what was left of a unit, for a statement of one's own."""
    user = aliased(Unit)
    adjusted = (
        select(func.coalesce(func.sum(col(Adjustment.grams)), 0))
        .where(col(Adjustment.unit_id) == col(Unit.id), col(Adjustment.entry_id) <= upto)
        .correlate(Unit)
        .scalar_subquery()
    )
    used = (
        select(func.coalesce(func.sum(col(Flow.grams)), 0))
        .join(user, col(user.id) == col(Flow.target_id))
        .where(col(Flow.source_id) == col(Unit.id), alive(user, upto))
        .correlate(Unit)
        .scalar_subquery()
    )
    return col(Unit.made_g) + adjusted - used


def on_hold_then(unit_id: IdColumn, upto: int | BindParameter[int]) -> ColumnElement[bool]:
    """Tell in a statement whether a unit, or the lot it came from, was on hold."""
    holds = (
        select(col(HoldUnit.hold_id))
        .join(Hold, col(Hold.id) == col(HoldUnit.hold_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(HoldUnit.hold_id))
        .where(col(Hold.entry_id) <= upto)
        .where(or_(col(HoldRelease.hold_id).is_(None), col(HoldRelease.entry_id) > upto))
    )
    return is_held(unit_id, holds)
