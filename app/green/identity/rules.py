"""Reading a lot's papers: which shipment it is, how high it grew, how old its crop is.

Which coffee year a mark belongs to is that of its shipment. Where nobody said when it was shipped
the year of arrival stands in, and every answer says so: coffee shipped in September and received in
October is then counted to the wrong year.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple

from app.standards.crop_years import CropYears, crop_years
from app.standards.ico_marks import Mark, coffee_year, parse_mark

FOOT_M: Final = Decimal("0.3048")
"""Exactly, by the international yard and pound agreement of 1959."""


class Species(StrEnum):
    """Of the plant. Which are traded is from memory."""

    ARABICA = "arabica"
    ROBUSTA = "robusta"
    """Coffea canephora."""
    LIBERICA = "liberica"
    OTHER = "other"


class AltitudeUnit(StrEnum):
    """What an altitude was given in."""

    METRES = "m"
    FEET = "ft"


class YearFrom(StrEnum):
    """Where the coffee year of a lot comes from, the surest first."""

    SAID = "coffee_year"
    SHIPMENT = "shipped_on"
    ARRIVAL = "received_at"


@dataclass(frozen=True)
class Papers:
    """What a lot's papers mean."""

    mark: Mark | None
    coffee_year: int
    year_from: YearFrom
    crop: CropYears | None


def read_papers(
    ico_mark: str | None,
    crop_year: str | None,
    said_year: int | None,
    shipped_on: date | None,
    received_on: date,
) -> Papers:
    """Read what is printed on a lot and was said of it."""
    year, source = year_of(said_year, shipped_on, received_on)
    return Papers(
        mark=parse_mark(ico_mark) if ico_mark else None,
        coffee_year=year,
        year_from=source,
        crop=crop_years(crop_year) if crop_year else None,
    )


def year_of(
    said_year: int | None, shipped_on: date | None, received_on: date
) -> tuple[int, YearFrom]:
    """Settle the coffee year of a lot, and where it comes from."""
    if said_year is not None:
        return said_year, YearFrom.SAID
    if shipped_on is not None:
        return coffee_year(shipped_on), YearFrom.SHIPMENT
    return coffee_year(received_on), YearFrom.ARRIVAL


def metres(altitude: int, unit: AltitudeUnit) -> Decimal:
    """Bring an altitude to metres, exactly."""
    return altitude * FOOT_M if unit is AltitudeUnit.FEET else Decimal(altitude)


class Light(StrEnum):
    """How old a crop is: a hint, which never blocks anything."""

    GREEN = "green"
    AMBER = "amber"
    RED = "red"
    UNKNOWN = "unknown"
    """Young by its arrival alone, while its printed crop year says that it is older."""


class CropAge(NamedTuple):
    """The light, and the day it is counted from."""

    light: Light
    since: date
    by_harvest: bool
    """Whether that day is the end of the harvest; else it is the arrival."""


class CropLimits(NamedTuple):
    """After how many months a crop is pointed out."""

    amber_months: int
    red_months: int


def crop_age(
    harvest_ended_on: date | None,
    received_on: date,
    crop: CropYears | None,
    today: date,
    limits: CropLimits,
) -> CropAge:
    """Judge the age of a crop from the end of its harvest or, where nobody said it, its arrival."""
    since = harvest_ended_on or received_on
    light = _light(since, today, limits)
    if harvest_ended_on is None and light is Light.GREEN and crop is not None:
        # No harvest ends later than its year: what is old even then is not shown as young.
        year_is_over = 1 <= crop.end < today.year
        if year_is_over and _light(date(crop.end, 12, 31), today, limits) is not Light.GREEN:
            light = Light.UNKNOWN
    return CropAge(light, since, harvest_ended_on is not None)


def _light(since: date, today: date, limits: CropLimits) -> Light:
    if today >= months_after(since, limits.red_months):
        return Light.RED
    return Light.AMBER if today >= months_after(since, limits.amber_months) else Light.GREEN


def months_after(day: date, months: int) -> date:
    """Count months on; a day that the month does not have is its last."""
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def months_since(day: date, today: date) -> int:
    """Count the whole months that are over since a day; none for one that lies ahead."""
    months = (today.year - day.year) * 12 + today.month - day.month
    return max(months - (months_after(day, months) > today), 0)
