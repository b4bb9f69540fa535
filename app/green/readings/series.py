"""Readings as series: those of one subject in the order they were taken, without voided ones."""

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.instruments.rules import DOUBTFUL
from app.green.readings.rules import Point
from app.green.readings.tables import Reading, ReadingKind, ReadingVoid
from app.ledger.tables import Entry
from app.shared.db import AnySelect, IdColumn, among
from app.shared.mass import kg_from_grams as from_milli


def standing(*columns: IdColumn) -> AnySelect:
    """Select of the readings that were not voided."""
    return (
        select(*columns)
        .select_from(Reading)
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
        .where(col(ReadingVoid.entry_id).is_(None))
    )


def points_of(
    session: Session, unit_ids: Collection[int], booked_before: int | None = None
) -> dict[int, list[Point]]:
    """Read the moistures of units, each unit's in the order they were taken.

    With `booked_before` only those that were in the book before that entry.
    """
    statement = (
        standing(
            col(Reading.unit_id),
            col(Reading.id),
            col(Reading.value_milli),
            col(Reading.method),
            col(Entry.happened_at),
            col(Reading.calibration),
        )
        .where(among(session, col(Reading.unit_id), unit_ids))
        .where(col(Reading.kind) == ReadingKind.MOISTURE)
        .order_by(col(Entry.happened_at), col(Reading.id))
    )
    if booked_before is not None:
        statement = statement.where(col(Reading.entry_id) < booked_before)
    found: dict[int, list[Point]] = {}
    for unit_id, number, milli, method, taken_at, calibration in session.execute(statement):
        trusted = calibration not in DOUBTFUL
        point = Point(number, from_milli(milli), method, taken_at, trusted)
        found.setdefault(unit_id, []).append(point)
    return found


class Spell(NamedTuple):
    """A time in which every reading of a place was above a limit."""

    since: datetime
    newest: datetime


def damp_since(session: Session, above: Decimal, place_ids: Collection[int]) -> dict[int, Spell]:
    """Find places whose newest readings are all above a humidity, and since when."""
    milli = int(above * 1000)
    place = col(Reading.location_id)
    moment = col(Entry.happened_at)
    humid = (
        standing(place, func.max(moment).label("at"))
        .where(among(session, place, place_ids))
        .where(col(Reading.kind) == ReadingKind.RELATIVE_HUMIDITY)
    )
    dry = humid.where(col(Reading.value_milli) <= milli).group_by(place).subquery()
    rows = session.execute(
        standing(place, func.min(moment), func.max(moment))
        .outerjoin(dry, dry.c.location_id == place)
        .where(among(session, place, place_ids))
        .where(col(Reading.kind) == ReadingKind.RELATIVE_HUMIDITY)
        .where(col(Reading.value_milli) > milli)
        .where(dry.c.at.is_(None) | (moment > dry.c.at))
        .group_by(place)
    )
    return {place_id: Spell(since, newest) for place_id, since, newest in rows}
