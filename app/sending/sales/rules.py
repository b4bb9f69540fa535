"""Days on which something was sold."""

from datetime import UTC, date, datetime, time, timedelta

EARLIEST_ZONE = timedelta(hours=14)
"""Where a day begins first, it does so fourteen hours before it begins in UTC."""


def newest_day(now: datetime) -> date:
    """Name the newest day that has begun anywhere: a shop writes down the day it has."""
    return (now + EARLIEST_ZONE).date()


def moment_of(sold_on: date, now: datetime) -> datetime:
    """Say when the sales of a day had happened: at its end, or by now while it still runs."""
    return min(datetime.combine(sold_on, time(23, 59, 59), UTC), now)
