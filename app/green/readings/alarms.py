"""Alarms: what a reading says that somebody should look at, and the hold it places.

A hold is placed by a figure out of bounds whatever the state of the instrument: coffee that may be
mouldy waits for a second look. Old readings typed in late count too, for the same reason.
"""

from collections.abc import Iterator
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import col

from app.green.instruments.rules import DOUBTFUL
from app.green.readings.rules import AlarmKind, drift_of, is_damp_for_long
from app.green.readings.schemas import AlarmOut
from app.green.readings.series import damp_since, points_of
from app.green.readings.showing import GREEN_UNITS
from app.green.readings.tables import Reading, ReadingAlarm, ReadingKind
from app.ledger.actions import place_hold
from app.ledger.posting import Pen
from app.ledger.tables import HoldRelease, Unit
from app.settings import Settings
from app.shared.mass import kg_from_grams as from_milli


class Alarm(NamedTuple):
    """Something out of bounds."""

    kind: AlarmKind
    detail: str


def raise_alarms(pen: Pen, reading: Reading, unit: Unit | None) -> list[AlarmOut]:
    """Record what is out of bounds in a reading just booked, and hold what the setting says.

    The hold is part of the reading's own entry. There is no second one while the hold of an alarm
    of the same kind is open on the same lot or sack.
    """
    alarms = list(_alarms(pen, reading, unit))
    return [_record(pen, reading, unit, alarm) for alarm in alarms]


def _alarms(pen: Pen, reading: Reading, unit: Unit | None) -> Iterator[Alarm]:
    if unit is None:
        yield from _of_place(pen, reading)
    elif unit.kind in GREEN_UNITS:
        yield from _of_value(reading, pen.settings)
        yield from _of_drift(pen, reading, unit)


def _of_value(reading: Reading, settings: Settings) -> Iterator[Alarm]:
    value = from_milli(reading.value_milli)
    if reading.kind == ReadingKind.MOISTURE:
        low, high = settings.moisture_range_pct
        if value > high:
            yield Alarm(AlarmKind.MOISTURE_HIGH, f"moisture {value} %, above {high} %")
        if value < low:
            yield Alarm(AlarmKind.MOISTURE_LOW, f"moisture {value} %, below {low} %")
    if reading.kind == ReadingKind.WATER_ACTIVITY:
        below = settings.water_activity_below
        if value >= below:
            yield Alarm(AlarmKind.WATER_ACTIVITY_HIGH, f"water activity {value}, not below {below}")


def _of_drift(pen: Pen, reading: Reading, unit: Unit) -> Iterator[Alarm]:
    if reading.kind != ReadingKind.MOISTURE or reading.calibration in DOUBTFUL:
        return
    drift = drift_of(points_of(pen.session, {unit.id}).get(unit.id, []))
    # A reading typed in late says nothing new of how far the coffee has come.
    if drift is None or drift.newest.number != reading.id or drift.points is None:
        return
    allowed = pen.settings.moisture_drift_points
    if abs(drift.points) >= allowed:
        yield Alarm(
            AlarmKind.DRIFT,
            f"moisture went from {drift.first.value} to {drift.newest.value} % in {drift.days} "
            f"days by {drift.newest.method_name}, {allowed} points or more",
        )


def _of_place(pen: Pen, reading: Reading) -> Iterator[Alarm]:
    if reading.kind != ReadingKind.RELATIVE_HUMIDITY:
        return
    settings, value = pen.settings, from_milli(reading.value_milli)
    red, (_, amber) = settings.storage_humidity_red_above_pct, settings.storage_humidity_pct
    if value > red:
        yield Alarm(AlarmKind.HUMIDITY_HIGH, f"relative humidity {value} %, above {red} %")
    assert reading.location_id is not None  # noqa: S101 - of a place
    spell = damp_since(pen.session, amber, {reading.location_id}).get(reading.location_id)
    hours = settings.storage_damp_hours
    if spell is not None and is_damp_for_long(spell.since, spell.newest, hours):
        yield Alarm(AlarmKind.HUMIDITY_DAMP, damp_words(amber, hours))


def damp_words(amber: Decimal, hours: int) -> str:
    """Say that a place was damp for too long."""
    return f"relative humidity above {amber} % in every reading of {hours} hours or more"


def _record(pen: Pen, reading: Reading, unit: Unit | None, alarm: Alarm) -> AlarmOut:
    hold = None
    if unit is not None and alarm.kind in pen.settings.hold_on_alarm:
        hold = _open_hold(pen, unit, alarm.kind)
        if hold is None:
            reason = f"alarm: {alarm.detail} (reading {reading.id})"
            hold = place_hold(pen, reading.entry_id, [unit], reason).id
    assert reading.id is not None  # noqa: S101 - flushed
    pen.session.add(ReadingAlarm(
        reading_id=reading.id, unit_id=unit.id if unit else None, kind=alarm.kind,
        detail=alarm.detail, hold_id=hold,
    ))  # fmt: skip
    pen.session.flush()  # the next alarm looks for this hold
    return AlarmOut(kind=alarm.kind, detail=alarm.detail, hold=hold)


def _open_hold(pen: Pen, unit: Unit, kind: AlarmKind) -> int | None:
    return pen.session.scalars(
        select(col(ReadingAlarm.hold_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(ReadingAlarm.hold_id))
        .where(col(ReadingAlarm.unit_id) == unit.id, col(ReadingAlarm.kind) == kind)
        .where(col(ReadingAlarm.hold_id).is_not(None), col(HoldRelease.hold_id).is_(None))
        .order_by(col(ReadingAlarm.id).desc())
        .limit(1)
    ).first()
