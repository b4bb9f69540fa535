"""Reading calibrations, and what they say of an instrument on a day."""

from collections.abc import Collection
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.instruments import rules
from app.green.instruments.rules import CalibrationResult, CalibrationStatus, Checked
from app.green.instruments.schemas import CalibrationOut, InstrumentDue
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Calibration, CalibrationVoid, Instrument
from app.ledger.cards import card_at
from app.ledger.tables import Entry
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import now


def calibrations_of(session: Session, instrument_ids: Collection[int]) -> dict[int, list[Checked]]:
    """Find the calibrations of instruments that were not voided."""
    found: dict[int, list[Checked]] = {}
    rows = session.execute(
        select(
            col(Calibration.instrument_id),
            col(Calibration.id),
            col(Calibration.calibrated_on),
            col(Calibration.valid_until),
            col(Calibration.result),
        )
        .outerjoin(CalibrationVoid, col(CalibrationVoid.calibration_id) == col(Calibration.id))
        .where(col(Calibration.instrument_id).in_(instrument_ids))
        .where(col(CalibrationVoid.entry_id).is_(None))
    )
    for instrument_id, number, calibrated_on, valid_until, result in rows:
        checked = Checked(number, calibrated_on, valid_until, CalibrationResult(result))
        found.setdefault(instrument_id, []).append(checked)
    return found


def status_on(session: Session, instrument: Instrument, day: date) -> CalibrationStatus:
    """Judge an instrument on a day by the calibrations on record."""
    assert instrument.id is not None  # noqa: S101 - read from the database
    known = calibrations_of(session, [instrument.id]).get(instrument.id, [])
    return rules.status(rules.in_force(known, day), instrument.calibration_every_days, day)


def shown(
    instrument: Instrument, calibration: Calibration, entry: Entry, *, voided: bool
) -> CalibrationOut:
    """Write a calibration as it is answered."""
    offset = calibration.offset_milli
    assert calibration.id is not None  # noqa: S101 - read from the database
    last = Checked(
        calibration.id, calibration.calibrated_on, calibration.valid_until, calibration.result
    )
    return CalibrationOut(
        id=calibration.id,
        instrument=instrument.code,
        calibrated_on=calibration.calibrated_on,
        valid_until=calibration.valid_until,
        due_on=rules.due_on(last, instrument.calibration_every_days),
        against=calibration.against,
        result=calibration.result,
        offset=None if offset is None else kg_from_grams(offset),
        by=calibration.done_by,
        certificate=calibration.certificate,
        note=calibration.note,
        recorded_at=entry.recorded_at,
        recorded_by=entry.who,
        voided=voided,
    )


def calibration_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the calibrations of an instrument in the order they were booked."""
    instrument = card_at(session, INSTRUMENTS, code)
    statement: AnySelect = (
        select(
            col(Calibration.id), Calibration, Entry, col(CalibrationVoid.entry_id).label("voided")
        )
        .join(Entry, col(Entry.id) == col(Calibration.entry_id))
        .outerjoin(CalibrationVoid, col(CalibrationVoid.calibration_id) == col(Calibration.id))
        .where(col(Calibration.instrument_id) == instrument.id)
    )
    rows, following = turn_page(session, statement, col(Calibration.id), page)
    return [
        shown(instrument, row.Calibration, row.Entry, voided=row.voided is not None).model_dump()
        for row in rows
    ], following


def due_page(session: Session, page: Page, status: CalibrationStatus | None) -> PageOf:
    """Read what every instrument is worth today, in the order their cards were entered."""
    today = now().date()
    everyone = session.execute(select(col(Instrument.id), col(Instrument.calibration_every_days)))
    rhythms: dict[int, int | None] = {number: days for number, days in everyone if number}
    known = calibrations_of(session, rhythms)
    last = {number: rules.in_force(known.get(number, []), today) for number in rhythms}
    states = {number: rules.status(last[number], days, today) for number, days in rhythms.items()}
    wanted = [number for number, state in states.items() if status in {None, state}]
    statement: AnySelect = select(col(Instrument.id), Instrument).where(
        col(Instrument.id).in_(wanted)
    )
    rows, following = turn_page(session, statement, col(Instrument.id), page)
    return [_due(row, last[row.id], states[row.id]).model_dump() for row in rows], following


def _due(row: Any, last: Checked | None, state: CalibrationStatus) -> InstrumentDue:  # noqa: ANN401 - a row of `due_page`
    instrument: Instrument = row.Instrument
    return InstrumentDue(
        instrument=instrument.code,
        name=instrument.name,
        status=state,
        calibrated_on=last.calibrated_on if last else None,
        due_on=rules.due_on(last, instrument.calibration_every_days) if last else None,
    )
