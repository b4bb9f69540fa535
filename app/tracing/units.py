"""Any unit by its code, as the book has it or had it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.corrections.queries import replaced_by, replaces
from app.ledger.queries import on_hold, parts_of, unit_by_code
from app.ledger.tables import Entry, Flow, Unit, UnitKind
from app.ledger.then import (
    AsOf,
    alive,
    as_of,
    is_voided,
    left_then,
    on_hold_then,
    there_then,
)
from app.places.tables import Location
from app.tracing.reached import place_then
from app.tracing.schemas import Part, UnitOut


def unit(session: Session, code: str, moment: datetime | None = None) -> UnitOut:
    """Read any unit: what it is, what it came from and what was made of it."""
    when = as_of(session, moment)
    found = there_then(session, unit_by_code(session, code), when)
    entry = session.get_one(Entry, found.born_entry_id)
    voided = is_voided(found, when)
    return UnitOut(
        code=found.code,
        kind=found.kind,
        made_g=found.made_g,
        left_g=0 if voided else _left_g(session, found, when),
        location=_location(session, found, when),
        held=_held(session, found, when),
        voided=voided,
        happened_at=entry.happened_at,
        recorded_at=entry.recorded_at,
        who=entry.who,
        made_from=_parts(parts_of(session, found.id)),
        made_into=_parts(_into(session, found.id, when)),
        replaces=replaces(session, found.id),
        replaced_by=replaced_by(session, found.id, when.upto),
        as_of=when.moment,
        entry=when.entry,
    )


def _left_g(session: Session, found: Unit, when: AsOf) -> int:
    if when.upto is None:
        return found.left_g
    return int(_said_then(session, found, left_then(when.upto)))


def _location(session: Session, found: Unit, when: AsOf) -> str | None:
    if when.upto is not None:
        place_code: str | None = _said_then(session, found, place_then(when.upto))
        return place_code
    place = session.get(Location, found.location_id) if found.location_id else None
    return place.code if place else None


def _said_then(session: Session, found: Unit, what: Any) -> Any:  # noqa: ANN401 - a scalar subquery and what it gives
    return session.scalar(select(what).select_from(Unit).where(col(Unit.id) == found.id))


def _held(session: Session, found: Unit, when: AsOf) -> bool:
    unit_id = col(Unit.id)
    held = on_hold(unit_id) if when.upto is None else on_hold_then(unit_id, when.upto)
    return bool(session.scalar(select(held).where(unit_id == found.id)))


def _into(session: Session, unit_id: int, when: AsOf) -> Iterable[tuple[str, UnitKind, int]]:
    rows = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Flow.grams))
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .where(col(Flow.source_id) == unit_id, alive(Unit, when.upto))
        .order_by(col(Unit.id))
    )
    return [(code, UnitKind(kind), grams) for code, kind, grams in rows]


def _parts(parts: Iterable[tuple[str, UnitKind, int]]) -> list[Part]:
    return [Part(unit=code, kind=kind, grams=grams) for code, kind, grams in parts]
