"""Measuring coffee and places."""

from decimal import Decimal

from sqlalchemy import select
from sqlmodel import col

from app.green.readings.rules import Verdict, judge_moisture, judge_water_activity
from app.green.readings.schemas import ReadingIn, ReadingOut
from app.green.readings.tables import Reading, ReadingKind
from app.ledger.cards import find
from app.ledger.posting import Pen
from app.ledger.queries import live, unknown
from app.ledger.tables import Unit
from app.places.actions import LOCATIONS
from app.places.tables import Location
from app.settings import Settings
from app.shared.problems import Refused


def read(pen: Pen, asked: ReadingIn) -> ReadingOut:
    """Record a measurement of a unit or a place and judge it."""
    unit, location = _subject(pen, asked)
    at = pen.moment(asked.taken_at, "#/taken_at")
    entry_id = pen.note("reading", asked.model_dump(mode="json"), at)
    reading = Reading(
        unit_id=unit.id if unit else None,
        location_id=location.id if location else None,
        kind=asked.kind,
        value_milli=int(asked.value * 1000),
        instrument=asked.instrument,
        entry_id=entry_id,
    )
    pen.session.add(reading)
    pen.session.flush()  # the database numbers the reading
    assert reading.id is not None  # noqa: S101 - flushed
    verdict = judge(asked.kind, asked.value, pen.settings)
    return ReadingOut(
        id=reading.id,
        subject=asked.subject,
        kind=asked.kind,
        value=asked.value,
        taken_at=at,
        instrument=asked.instrument,
        taken_by=pen.who,
        in_range=verdict.in_range,
        range=list(verdict.limits) if verdict.limits else None,
    )


def judge(kind: ReadingKind, value: Decimal, settings: Settings) -> Verdict:
    """Hold a reading against the roastery's range for its kind."""
    if kind is ReadingKind.MOISTURE:
        return judge_moisture(value, settings.moisture_range_pct)
    if kind is ReadingKind.WATER_ACTIVITY:
        return judge_water_activity(value, settings.water_activity_below)
    return Verdict(None, None)


def _subject(pen: Pen, asked: ReadingIn) -> tuple[Unit | None, Location | None]:
    unit = location = None
    if asked.subject_kind != "location":
        unit = pen.session.scalars(select(Unit).where(col(Unit.code) == asked.subject)).first()
    if asked.subject_kind != "unit":
        location = find(pen.session, LOCATIONS, asked.subject)
    if unit and location:
        raise Refused(
            "ambiguous-code",
            f"{asked.subject} is a {unit.kind} and a location; say which.",
            code=asked.subject,
        )
    if unit is None and location is None:
        raise unknown(asked.subject)
    return live(unit) if unit else None, location
