"""Reading measurements back."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.instruments.tables import Instrument
from app.green.readings.schemas import AlarmOut
from app.green.readings.showing import Subject, Taken, show_reading
from app.green.readings.tables import Reading, ReadingAlarm, ReadingKind, ReadingVoid
from app.ledger.cards import find
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.tables import Location
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page


def reading_page(
    session: Session,
    page: Page,
    subject: str | None,
    kind: ReadingKind | None,
    settings: Settings,
) -> PageOf:
    """Read measurements in the order they were booked, voided ones too."""
    folded = None if subject is None else subject.upper()
    if folded is not None and find(session, LOCATIONS, folded) is None:
        unit_by_code(session, folded)
    return readings_of(session, page, folded, kind, settings)


def readings_of(
    session: Session, page: Page, code: str | None, kind: ReadingKind | None, settings: Settings
) -> PageOf:
    """Read those of a place or a unit that there is."""
    statement: AnySelect = (
        select(
            col(Reading.id),
            Reading,
            col(Unit.code).label("unit"),
            col(Unit.kind).label("unit_kind"),
            col(Location.code).label("place"),
            col(Instrument.code).label("card"),
            col(Entry.happened_at),
            col(Entry.who),
            col(ReadingVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .outerjoin(Unit, col(Unit.id) == col(Reading.unit_id))
        .outerjoin(Location, col(Location.id) == col(Reading.location_id))
        .outerjoin(Instrument, col(Instrument.id) == col(Reading.instrument_id))
        .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
    )
    if code is not None:
        statement = statement.where((col(Unit.code) == code) | (col(Location.code) == code))
    if kind is not None:
        statement = statement.where(col(Reading.kind) == kind)
    rows, following = turn_page(session, statement, col(Reading.id), page)
    alarms = _alarms(session, [row.id for row in rows])
    return [_line(row, alarms.get(row.id, []), settings) for row in rows], following


def _alarms(session: Session, reading_ids: Collection[int]) -> dict[int, list[AlarmOut]]:
    found: dict[int, list[AlarmOut]] = {}
    for alarm in session.scalars(
        select(ReadingAlarm)
        .where(col(ReadingAlarm.reading_id).in_(reading_ids))
        .order_by(col(ReadingAlarm.id))
    ):
        told = AlarmOut(kind=alarm.kind, detail=alarm.detail, hold=alarm.hold_id)
        found.setdefault(alarm.reading_id, []).append(told)
    return found


def _line(row: Any, alarms: list[AlarmOut], settings: Settings) -> dict[str, object]:  # noqa: ANN401 - a row of `reading_page`
    kind = None if row.unit_kind is None else UnitKind(row.unit_kind)
    subject = Subject(row.unit or row.place, kind)
    taken = Taken(row.happened_at, row.who, row.card, row.void_reason)
    told = show_reading(row.Reading, subject, taken, alarms, settings)
    return told.model_dump()
