"""How a reading is answered: its bands, and what there is to know about it."""

import json
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from app.green.instruments.rules import DOUBTFUL, CalibrationStatus
from app.green.readings.rules import (
    Band,
    Basis,
    Verdict,
    band_below,
    band_humidity,
    band_inside,
    band_temperature,
    judge_moisture,
    judge_water_activity,
)
from app.green.readings.schemas import AlarmOut, Flag, ReadingOut
from app.green.readings.tables import Reading, ReadingKind
from app.ledger.tables import UnitKind
from app.settings import Settings
from app.shared.mass import kg_from_grams as from_milli
from app.standards.moisture import replicates

GREEN_UNITS = frozenset({UnitKind.LOT, UnitKind.SACK})
"""Units that are green coffee: bands and alarms are for them and for places."""

_FLAGS = {
    CalibrationStatus.OVERDUE: Flag(
        flag="instrument_overdue", detail="the instrument was overdue for calibration"
    ),
    CalibrationStatus.FAILED: Flag(
        flag="instrument_failed", detail="the instrument had failed its calibration"
    ),
    CalibrationStatus.UNKNOWN: Flag(
        flag="instrument_unknown", detail="no calibration of the instrument was on record"
    ),
}


class Subject(NamedTuple):
    """What was measured."""

    code: str
    unit_kind: UnitKind | None
    """None for a place."""


class Taken(NamedTuple):
    """When a reading was taken, by whom and with what, and whether it still counts."""

    at: datetime
    by: str
    card: str | None
    """The code of the instrument's card."""
    void_reason: str | None = None


def judge(
    kind: ReadingKind, value: Decimal, unit_kind: UnitKind | None, settings: Settings
) -> Verdict:
    """Hold a reading against the roastery's range for its kind; green coffee alone has one."""
    if unit_kind not in GREEN_UNITS:
        return Verdict(None, None)
    if kind is ReadingKind.MOISTURE:
        return judge_moisture(value, settings.moisture_range_pct)
    if kind is ReadingKind.WATER_ACTIVITY:
        return judge_water_activity(value, settings.water_activity_below)
    return Verdict(None, None)


class Figure(NamedTuple):
    """What the band of a reading depends on."""

    kind: ReadingKind
    value: Decimal
    calibration: CalibrationStatus | None
    unit_kind: UnitKind | None
    """None for a reading of a place."""


def band_of(figure: Figure, settings: Settings) -> Band | None:
    """Tell the band of a reading; whoever cannot trust the instrument knows nothing."""
    band = _band(figure, settings)
    return Band.UNKNOWN if band is not None and figure.calibration in DOUBTFUL else band


def _band(figure: Figure, settings: Settings) -> Band | None:
    kind, value, _, unit_kind = figure
    if unit_kind is None:
        return _band_of_place(kind, value, settings)
    if unit_kind in GREEN_UNITS and kind is ReadingKind.MOISTURE:
        return band_inside(value, settings.moisture_working_pct, settings.moisture_range_pct)
    if unit_kind in GREEN_UNITS and kind is ReadingKind.WATER_ACTIVITY:
        return band_below(value, settings.water_activity_below, settings.water_activity_amber_from)
    return None


def _band_of_place(kind: ReadingKind, value: Decimal, settings: Settings) -> Band | None:
    if kind is ReadingKind.RELATIVE_HUMIDITY:
        red = settings.storage_humidity_red_above_pct
        return band_humidity(value, settings.storage_humidity_pct, red)
    if kind is ReadingKind.TEMPERATURE:
        return band_temperature(value, settings.storage_temperature_c)
    return None


def flags_of(reading: Reading, settings: Settings) -> list[Flag]:
    """Say what there is to know about how a reading was got."""
    flags = []
    spread = spread_of(reading)
    if spread is not None and spread > settings.moisture_spread_points:
        detail = (
            f"the single readings lie {spread} points apart; "
            f"{settings.moisture_spread_points} are allowed: measure again"
        )
        flags.append(Flag(flag="repeat", detail=detail))
    if reading.calibration is not None and reading.calibration in _FLAGS:
        flags.append(_FLAGS[CalibrationStatus(reading.calibration)])
    return flags


def spread_of(reading: Reading) -> Decimal | None:
    """Tell how far the single readings of a moisture lie apart, in points as they were given."""
    if reading.kind != ReadingKind.MOISTURE or reading.replicates is None:
        return None
    values = json.loads(reading.replicates)
    return from_milli(int(replicates(values).spread))


def show_reading(
    reading: Reading,
    subject: Subject,
    taken: Taken,
    alarms: Sequence[AlarmOut],
    settings: Settings,
) -> ReadingOut:
    """Write a reading as it is answered."""
    kind, value = ReadingKind(reading.kind), from_milli(reading.value_milli)
    verdict = judge(kind, value, subject.unit_kind, settings)
    singles = None if reading.replicates is None else json.loads(reading.replicates)
    assert reading.id is not None  # noqa: S101 - read from the database
    return ReadingOut(
        id=reading.id,
        subject=subject.code,
        kind=kind,
        value=value,
        taken_at=taken.at,
        instrument=reading.instrument,
        taken_by=taken.by,
        in_range=verdict.in_range,
        range=list(verdict.limits) if verdict.limits else None,
        band=band_of(Figure(kind, value, reading.calibration, subject.unit_kind), settings),
        flags=flags_of(reading, settings),
        alarms=list(alarms),
        method=reading.method,
        basis=(reading.basis or Basis.WET) if kind is ReadingKind.MOISTURE else None,
        given_value=_decimal(reading.given_milli),
        values=None if singles is None else [from_milli(single) for single in singles],
        temperature_c=_decimal(reading.temperature_milli),
        sample_g=_decimal(reading.sample_milli),
        instrument_card=taken.card,
        calibration=reading.calibration,
        note=reading.note,
        voided=taken.void_reason is not None,
        void_reason=taken.void_reason,
    )


def _decimal(milli: int | None) -> Decimal | None:
    return None if milli is None else from_milli(milli)
