"""Periods of days that somebody asks about, both ends included."""

from datetime import date
from typing import Annotated, NamedTuple

from fastapi import Depends, Query

from app.shared.days import today_here
from app.shared.problems import Refused
from app.shared.times import Day

LONGEST_DAYS = 366


class Period(NamedTuple):
    """Days, both ends included."""

    first: date
    last: date


def period(first: date | None, last: date | None, usual_days: int) -> Period:
    """Take the period that was asked for: from today, and so many days, where nothing is said.

    Raises:
        Refused: `invalid` for one that runs backward or is longer than a year.
    """
    begin = first or today_here()
    end = last or date.fromordinal(min(begin.toordinal() + usual_days - 1, date.max.toordinal()))
    days = (end - begin).days + 1
    if not 1 <= days <= LONGEST_DAYS:
        said = f"from {begin} to {end} is not 1 to {LONGEST_DAYS} days"
        raise Refused("invalid", said, errors=[{"parameter": "to", "detail": said}])
    return Period(begin, end)


async def _four_weeks(
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> Period:
    return period(first, last, 28)


async def _one_day(
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> Period:
    return period(first, last, 1)


async def _year_before(
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> Period:
    end = last or today_here()
    year = date.fromordinal(max(end.toordinal() - 364, 1))
    return period(first or year, end, 365)


FourWeeksAsked = Annotated[Period, Depends(_four_weeks)]
"""A period; four weeks from today where nothing is said."""
DayAsked = Annotated[Period, Depends(_one_day)]
"""A period; today where nothing is said, one day where only its beginning is."""
YearAsked = Annotated[Period, Depends(_year_before)]
"""A period; the 365 days up to today, or up to its end, where its beginning is not said."""
