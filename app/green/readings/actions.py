"""Measuring coffee and places, and taking a measurement back."""

import json
from decimal import Decimal

from sqlalchemy import select
from sqlmodel import col

from app.green.instruments.queries import status_on
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Instrument
from app.green.readings.alarms import raise_alarms
from app.green.readings.measuring import measured
from app.green.readings.schemas import ReadingIn, ReadingOut, ReadingVoided, ReadingVoidIn
from app.green.readings.showing import Subject, Taken, show_reading
from app.green.readings.tables import Reading, ReadingAlarm, ReadingVoid
from app.ledger.cards import find
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, unknown
from app.ledger.tables import HoldRelease, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.tables import Location
from app.shared.days import day_of
from app.shared.problems import FieldRefused, Refused


def read(pen: Pen, asked: ReadingIn) -> ReadingOut:
    """Record a measurement of a unit or a place, judge it, and hold what must not go on."""
    unit, location = _subject(pen, asked)
    figures = measured(asked)
    card = _card(pen, asked)
    at = pen.moment(asked.taken_at, "#/taken_at")
    entry_id = pen.note("reading", asked.model_dump(mode="json", exclude_none=True), at)
    reading = Reading(
        unit_id=unit.id if unit else None,
        location_id=location.id if location else None,
        kind=asked.kind,
        value_milli=_milli(figures.value),
        given_milli=None if figures.given is None else _milli(figures.given),
        basis=figures.basis,
        instrument=asked.instrument,
        instrument_id=card.id if card else None,
        method=asked.method or (card.method if card else None),
        calibration=status_on(pen.session, card, day_of(at)) if card else None,
        temperature_milli=None if asked.temperature_c is None else _milli(asked.temperature_c),
        sample_milli=None if asked.sample_g is None else _milli(asked.sample_g),
        replicates=None if asked.values is None else json.dumps([*map(_milli, asked.values)]),
        note=asked.note,
        entry_id=entry_id,
    )
    pen.session.add(reading)
    pen.session.flush()  # the database numbers the reading
    alarms = raise_alarms(pen, reading, unit)
    subject = Subject(asked.subject, UnitKind(unit.kind) if unit else None)
    taken = Taken(at, pen.who, card.code if card else None)
    return show_reading(reading, subject, taken, alarms, pen.settings)


def _milli(value: Decimal) -> int:
    return int(value * 1000)


def _card(pen: Pen, asked: ReadingIn) -> Instrument | None:
    """Find the card of the instrument, if what was said is the code of one."""
    card = find(pen.session, INSTRUMENTS, asked.instrument) if asked.instrument else None
    if card is not None and asked.kind not in card.kinds.split(","):
        raise FieldRefused(
            "#/instrument",
            f"{card.code} takes readings of {card.kinds.replace(',', ', ')}, not of {asked.kind}",
        )
    return card


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


def void(pen: Pen, number: int, asked: ReadingVoidIn) -> ReadingVoided:
    """Take a reading back: it stays to be read and counts for nothing any more.

    A hold that its alarm placed stays; whether the coffee may go is for quality to say.
    """
    session = pen.session
    reading = session.get(Reading, number)
    if reading is None:
        raise Refused("not-found", f"There is no reading {number}.")
    before = session.get(ReadingVoid, number)
    if before is not None:
        raise Refused("already-done", f"Reading {number} was voided before: {before.reason}.")
    said = {"reading": number, "reason": asked.reason}
    entry_id = pen.post(Posting("void", pen.now, said, reverses_id=reading.entry_id))
    session.add(ReadingVoid(reading_id=number, entry_id=entry_id, reason=asked.reason))
    holds = session.scalars(
        select(col(ReadingAlarm.hold_id)).distinct()
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(ReadingAlarm.hold_id))
        .where(col(ReadingAlarm.reading_id) == number, col(HoldRelease.hold_id).is_(None))
        .where(col(ReadingAlarm.hold_id).is_not(None))
        .order_by(col(ReadingAlarm.hold_id))
    )  # fmt: skip
    return ReadingVoided(
        id=number,
        subject=_code_of(pen, reading),
        reason=asked.reason,
        open_holds=[hold for hold in holds if hold is not None],
        entry=entry_id,
        voided_at=pen.now,
    )


def _code_of(pen: Pen, reading: Reading) -> str:
    if reading.unit_id is not None:
        return pen.session.get_one(Unit, reading.unit_id).code
    return pen.session.get_one(Location, reading.location_id).code
