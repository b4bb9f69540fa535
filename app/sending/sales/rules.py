"""Days on which something was sold."""

from datetime import date, datetime, timedelta

from app.shared.days import end_of

EARLIEST_ZONE = timedelta(hours=14)
"""Where a day begins first, it does so fourteen hours before it begins in UTC."""


def newest_day(now: datetime) -> date:
    """Name the newest day that has begun anywhere: a shop writes down the day it has."""
    return (now + EARLIEST_ZONE).date()


def moment_of(sold_on: date, now: datetime) -> datetime:
    """Say when the sales of a day had happened: at its end, or by now while it still runs."""
    return min(end_of(sold_on) - timedelta(seconds=1), now)
