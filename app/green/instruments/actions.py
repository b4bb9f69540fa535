"""Holding instruments against a reference, and taking that back."""

from datetime import timedelta

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.instruments import rules
from app.green.instruments.queries import calibrations_of, shown, status_on
from app.green.instruments.rules import CalibrationResult
from app.green.instruments.schemas import (
    CalibrationBooked,
    CalibrationIn,
    CalibrationVoided,
    CalibrationVoidIn,
)
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Calibration, CalibrationVoid, Instrument
from app.green.readings.tables import Reading, ReadingVoid
from app.ledger.cards import card_at
from app.ledger.posting import Pen, Posting
from app.ledger.tables import Entry
from app.shared.days import begin_of, day_of
from app.shared.problems import FieldRefused, Refused

_FARTHEST_EAST = timedelta(hours=14)
"""Where the day begins first: a date that has come nowhere yet is a slip."""


def calibrate(pen: Pen, code: str, asked: CalibrationIn) -> CalibrationBooked:
    """Record a calibration; one that failed puts what was read since the last good one in doubt."""
    instrument = card_at(pen.session, INSTRUMENTS, code)
    latest = (pen.now + _FARTHEST_EAST).date()
    if asked.calibrated_on > latest:
        raise FieldRefused("#/calibrated_on", f"{asked.calibrated_on} has not come yet")
    in_doubt = _read_since_it_passed(pen.session, instrument, asked)
    said = {"instrument": instrument.code, **asked.model_dump(mode="json")}
    entry_id = pen.note("calibration", said)
    calibration = Calibration(
        instrument_id=instrument.id or 0, entry_id=entry_id, done_by=asked.by,
        offset_milli=asked.offset_milli,
        **asked.model_dump(exclude={"by", "offset"}),
    )  # fmt: skip
    pen.session.add(calibration)
    pen.session.flush()  # the database numbers the calibration
    entry = pen.session.get_one(Entry, entry_id)
    return CalibrationBooked(
        **shown(instrument, calibration, entry, voided=False).model_dump(),
        status=status_on(pen.session, instrument, day_of(pen.now)),
        in_doubt=in_doubt,
    )


def _read_since_it_passed(session: Session, instrument: Instrument, asked: CalibrationIn) -> int:
    """Count the readings since the last calibration that passed, if this one failed."""
    if asked.result is not CalibrationResult.FAILED:
        return 0
    assert instrument.id is not None  # noqa: S101 - read from the database
    good = [
        each
        for each in calibrations_of(session, [instrument.id]).get(instrument.id, [])
        if each.result is not CalibrationResult.FAILED
    ]
    last = rules.in_force(good, asked.calibrated_on)
    statement = (
        select(func.count())
        .select_from(Reading)
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
        .where(col(Reading.instrument_id) == instrument.id, col(ReadingVoid.entry_id).is_(None))
    )
    if last is not None:
        since = begin_of(last.calibrated_on)
        statement = statement.where(col(Entry.happened_at) >= since)
    return session.scalar(statement) or 0


def void_calibration(
    pen: Pen, code: str, number: int, asked: CalibrationVoidIn
) -> CalibrationVoided:
    """Say that a calibration never was; readings keep what was known when they were booked."""
    session = pen.session
    instrument = card_at(session, INSTRUMENTS, code)
    calibration = session.get(Calibration, number)
    if calibration is None or calibration.instrument_id != instrument.id:
        raise Refused("not-found", f"Instrument {instrument.code} has no calibration {number}.")
    before = session.get(CalibrationVoid, number)
    if before is not None:
        raise Refused("already-done", f"Calibration {number} was voided before: {before.reason}.")
    said = {"instrument": instrument.code, "calibration": number, "reason": asked.reason}
    entry_id = pen.post(Posting("void", pen.now, said, reverses_id=calibration.entry_id))
    session.add(CalibrationVoid(calibration_id=number, entry_id=entry_id, reason=asked.reason))
    session.flush()  # the status below is read without it
    return CalibrationVoided(
        id=number,
        instrument=instrument.code,
        reason=asked.reason,
        status=status_on(session, instrument, day_of(pen.now)),
        entry=entry_id,
        voided_at=pen.now,
    )
