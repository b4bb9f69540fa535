"""Decisions about lots and rooms: what their newest readings say together."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple

from app.green.readings.rules import Band, is_overdue, worst
from app.shared.days import day_of
from app.standards.equilibrium import STANDARD_ERROR_POINTS


class Seen(NamedTuple):
    """The newest reading of one kind of one subject, as far as it counts."""

    what: str
    """What was measured, with its value, in words: `moisture 11.2 %`."""
    subject: str
    value: Decimal
    band: Band
    taken_at: datetime

    def now(self, now: datetime, every_days: int) -> Band:
        """Tell its band today: a reading that is too old says nothing any more."""
        return Band.UNKNOWN if is_overdue(self.taken_at, now, every_days) else self.band

    def words(self, band: Band) -> str:
        """Say what it is and why it is no better."""
        said = f"{self.subject}: {self.what} on {day_of(self.taken_at)}"
        if band is not Band.UNKNOWN:
            return f"{said} is {band}"
        if self.band is Band.UNKNOWN:
            return f"{said}, by an instrument that was overdue for calibration or had failed"
        return f"{said} is too long ago"


class State(NamedTuple):
    """What is known of a lot or a place today."""

    status: Band
    overdue: bool
    why: list[str]


def lot_state(
    moisture: Seen | None,
    water_activity: Seen | None,
    red_sacks: Sequence[Seen],
    now: datetime,
    every_days: int,
) -> State:
    """Judge a lot by its newest readings and by sacks whose own newest one was red.

    Moisture must be measured again and again, water activity need not; but a water activity that
    was red is not forgotten because it is old.
    """
    if moisture is None:
        return State(Band.UNKNOWN, overdue=True, why=["no moisture reading"])
    counted = [moisture, *red_sacks]
    if water_activity is not None and (
        water_activity.band is Band.RED or not is_overdue(water_activity.taken_at, now, every_days)
    ):
        counted.insert(1, water_activity)
    return State(
        worst(seen.now(now, every_days) for seen in counted),
        is_overdue(moisture.taken_at, now, every_days),
        list(_reasons(counted, now, every_days)),
    )


def _reasons(counted: Sequence[Seen], now: datetime, every_days: int) -> Iterator[str]:
    for seen in counted:
        band = seen.now(now, every_days)
        if band is not Band.GREEN:
            yield seen.words(band)


def place_state(
    readings: Sequence[Seen], damp: str | None, now: datetime, every_days: int
) -> State:
    """Judge the climate of a place by its newest readings, and by how long it was damp."""
    bands = [seen.now(now, every_days) for seen in readings]
    why = list(_reasons(readings, now, every_days))
    if damp is not None:
        bands.append(Band.AMBER)
        why.append(damp)
    overdue = any(is_overdue(seen.taken_at, now, every_days) for seen in readings)
    return State(worst(bands), overdue, why)


class Pull(StrEnum):
    """Where a room pulls a lot."""

    DRIES = "dries"
    MOISTENS = "moistens"
    STAYS = "stays"
    """The lot is within the error of the model already."""


STAYS_WITHIN: Final = STANDARD_ERROR_POINTS
"""Closer to the equilibrium than this the model tells no direction."""


def pull(moisture_pct: Decimal, equilibrium_pct: Decimal) -> Pull:
    """Tell where a room pulls a lot."""
    if abs(moisture_pct - equilibrium_pct) <= STAYS_WITHIN:
        return Pull.STAYS
    return Pull.DRIES if moisture_pct > equilibrium_pct else Pull.MOISTENS
