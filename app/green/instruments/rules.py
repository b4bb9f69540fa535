"""Decisions about instruments: whether one could be trusted on a day."""

from collections.abc import Iterable
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple


class CalibrationResult(StrEnum):
    """How a calibration ended."""

    PASSED = "passed"
    ADJUSTED = "adjusted"
    """It was off and was set right."""
    FAILED = "failed"
    """It was off and could not be set right, or was not."""


class CalibrationStatus(StrEnum):
    """What is known of an instrument on a day."""

    CALIBRATED = "calibrated"
    OVERDUE = "overdue"
    FAILED = "failed"
    UNKNOWN = "unknown"
    """No calibration is on record and none was asked for."""


DOUBTFUL = frozenset({CalibrationStatus.OVERDUE, CalibrationStatus.FAILED})
"""What an instrument shows in these states says nothing for sure."""


class Checked(NamedTuple):
    """A calibration, as far as trust goes."""

    number: int
    calibrated_on: date
    valid_until: date | None
    result: CalibrationResult


def in_force(calibrations: Iterable[Checked], on: date) -> Checked | None:
    """Find the calibration that counts on a day: the last by then, of one day the last booked."""
    before = [each for each in calibrations if each.calibrated_on <= on]
    return max(before, key=lambda each: (each.calibrated_on, each.number), default=None)


def due_on(last: Checked, every_days: int | None) -> date | None:
    """Name the last day a calibration is good for: its own word before the instrument's rhythm."""
    if last.valid_until is not None or every_days is None:
        return last.valid_until
    return last.calibrated_on + timedelta(days=every_days)


def status(last: Checked | None, every_days: int | None, on: date) -> CalibrationStatus:
    """Judge an instrument on a day by the calibration in force then."""
    if last is None:
        return CalibrationStatus.UNKNOWN if every_days is None else CalibrationStatus.OVERDUE
    if last.result is CalibrationResult.FAILED:
        return CalibrationStatus.FAILED
    due = due_on(last, every_days)
    return CalibrationStatus.OVERDUE if due and on > due else CalibrationStatus.CALIBRATED
