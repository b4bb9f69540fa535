"""Reading calibrations, and what they say of an instrument on a day."""

from collections.abc import Collection, Iterable
from datetime import date

from sqlalchemy import and_, exists, select
from sqlmodel import Session, col

from app.green.instruments import rules
from app.green.instruments.rules import CalibrationResult, CalibrationStatus, Checked
from app.green.instruments.schemas import CalibrationOut, InstrumentDue
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Calibration, CalibrationVoid, Instrument
from app.ledger.cards import card_at
from app.ledger.tables import Entry
from app.shared.days import today_here
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, page_by_key, turn_page


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
    today = today_here()
    known = _all_with_calibrations(session)
    found = {card.id or 0: _due(card, checked, today) for card, checked in known.values()}
    wanted = {number: each for number, each in found.items() if status in {None, each.status}}
    rows, following = page_by_key(wanted, page)
    return [each.model_dump() for each in rows], following


def _all_with_calibrations(session: Session) -> dict[int, tuple[Instrument, list[Checked]]]:
    voided = exists(
        select(col(CalibrationVoid.entry_id))
        .where(col(CalibrationVoid.calibration_id) == col(Calibration.id))
        .correlate(Calibration)
    )
    rows = session.execute(
        select(
            Instrument, col(Calibration.id), col(Calibration.calibrated_on),
            col(Calibration.valid_until), col(Calibration.result),
        ).outerjoin(
            Calibration, and_(col(Calibration.instrument_id) == col(Instrument.id), ~voided)
        )
    )  # fmt: skip
    found: dict[int, tuple[Instrument, list[Checked]]] = {}
    for card, number, calibrated_on, valid_until, result in rows:
        _card, calibrations = found.setdefault(card.id, (card, []))
        if number is not None:
            calibrations.append(
                Checked(number, calibrated_on, valid_until, CalibrationResult(result))
            )
    return found


def _due(instrument: Instrument, calibrations: Iterable[Checked], today: date) -> InstrumentDue:
    last = rules.in_force(calibrations, today)
    state = rules.status(last, instrument.calibration_every_days, today)
    return InstrumentDue(
        instrument=instrument.code,
        name=instrument.name,
        status=state,
        calibrated_on=last.calibrated_on if last else None,
        due_on=rules.due_on(last, instrument.calibration_every_days) if last else None,
    )
