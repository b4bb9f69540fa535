"""Days as moments: those of UTC, as everywhere in the book."""

from datetime import UTC, date, datetime, time, timedelta


def begin_of(day: date) -> datetime:
    """Name the moment at which a day begins."""
    return datetime.combine(day, time(), UTC)


def end_of(day: date) -> datetime:
    """Name the moment at which a day is over."""
    return begin_of(day) + timedelta(days=1)
