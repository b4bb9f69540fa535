"""What happened to units, one row per unit and event.

The kilograms of a unit's rows add up to what is left of it now: it was made, coffee went into other
units, it was adjusted, or it was voided and never was.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Adjustment, Entry, Flow, Hold, HoldRelease, HoldUnit, Unit
from app.places.tables import Location, Move
from app.shared.db import among
from app.tracing.reached import rows_of

MADE, WENT, ADJUSTED, MOVED = "made", "went_into", "adjusted", "moved"
HELD, RELEASED, VOIDED = "held", "released", "voided"


class Written(NamedTuple):
    """The entry of the journal that says so."""

    happened_at: datetime
    recorded_at: datetime
    by: str
    entry: int


class Event(NamedTuple):
    """One thing that happened to one unit."""

    unit_id: int
    event: str
    written: Written
    grams: int | None
    other: str | None
    """The unit that coffee went into, or the place that it was moved to."""
    said: str | None
    """By what act it was made, why it was adjusted, held, released."""


_ENTRY = (col(Entry.happened_at), col(Entry.recorded_at), col(Entry.who), col(Entry.id))


def events_of(session: Session, unit_ids: Sequence[int]) -> list[Event]:
    """Read everything that happened to units, by unit and in the order of the journal."""
    found = [
        *_made(session, unit_ids),
        *_went(session, unit_ids),
        *_adjusted(session, unit_ids),
        *_moved(session, unit_ids),
        *_holds(session, unit_ids),
    ]
    found += _voided(session, unit_ids, found)
    return sorted(found, key=lambda event: (event.unit_id, event.written.entry))


def _made(session: Session, unit_ids: Sequence[int]) -> Iterator[Event]:
    rows = rows_of(
        session,
        select(col(Unit.id), col(Unit.made_g), col(Entry.kind), *_ENTRY)
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), unit_ids)),
    )
    for unit, grams, kind, *entry in rows:
        yield Event(unit, MADE, Written(*entry), grams, None, kind)


def _went(session: Session, unit_ids: Sequence[int]) -> Iterator[Event]:
    into = aliased(Unit)
    rows = rows_of(
        session,
        select(col(Flow.source_id), col(Flow.grams), col(into.code), *_ENTRY)
        .join(into, col(into.id) == col(Flow.target_id))
        .join(Entry, col(Entry.id) == col(into.born_entry_id))
        .where(among(session, col(Flow.source_id), unit_ids))
        .where(col(into.voided_entry_id).is_(None)),
    )
    for unit, grams, other, *entry in rows:
        yield Event(unit, WENT, Written(*entry), -grams, other, None)


def _adjusted(session: Session, unit_ids: Sequence[int]) -> Iterator[Event]:
    rows = rows_of(
        session,
        select(col(Adjustment.unit_id), col(Adjustment.grams), col(Adjustment.reason), *_ENTRY)
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .where(among(session, col(Adjustment.unit_id), unit_ids))
        .order_by(col(Adjustment.id)),
    )
    for unit, grams, reason, *entry in rows:
        yield Event(unit, ADJUSTED, Written(*entry), grams, None, reason)


def _moved(session: Session, unit_ids: Sequence[int]) -> Iterator[Event]:
    rows = rows_of(
        session,
        select(col(Move.unit_id), col(Location.code), *_ENTRY)
        .join(Location, col(Location.id) == col(Move.to_id))
        .join(Entry, col(Entry.id) == col(Move.entry_id))
        .where(among(session, col(Move.unit_id), unit_ids))
        .order_by(col(Move.id)),
    )
    for unit, place, *entry in rows:
        yield Event(unit, MOVED, Written(*entry), None, place, None)


def _holds(session: Session, unit_ids: Sequence[int]) -> Iterator[Event]:
    for event, table in ((HELD, Hold), (RELEASED, HoldRelease)):
        number = col(Hold.id) if table is Hold else col(HoldRelease.hold_id)
        rows = rows_of(
            session,
            select(col(HoldUnit.unit_id), col(table.reason), *_ENTRY)
            .join(table, number == col(HoldUnit.hold_id))
            .join(Entry, col(Entry.id) == col(table.entry_id))
            .where(among(session, col(HoldUnit.unit_id), unit_ids))
            .order_by(number),
        )
        for unit, reason, *entry in rows:
            yield Event(unit, event, Written(*entry), None, None, reason)


def _voided(session: Session, unit_ids: Sequence[int], before: Sequence[Event]) -> Iterator[Event]:
    """Take back whatever a voided unit still had by the rows before."""
    left: Mapping[int, int] = _sums(before)
    rows = rows_of(
        session,
        select(col(Unit.id), *_ENTRY)
        .join(Entry, col(Entry.id) == col(Unit.voided_entry_id))
        .where(among(session, col(Unit.id), unit_ids)),
    )
    for unit, *entry in rows:
        yield Event(unit, VOIDED, Written(*entry), -left[unit], None, None)


def _sums(events: Sequence[Event]) -> Counter[int]:
    sums: Counter[int] = Counter()
    for event in events:
        sums[event.unit_id] += event.grams or 0
    return sums
