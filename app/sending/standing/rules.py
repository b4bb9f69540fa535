"""On which dates a standing order falls."""

from collections.abc import Collection, Iterator
from datetime import date, timedelta
from typing import Final, NamedTuple

WEEKDAYS: Final = (
    "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday",
)  # fmt: skip


class Rhythm(NamedTuple):
    """Some days of every so many weeks; weeks begin on Monday (ISO 8601)."""

    weekdays: Collection[str]
    every_weeks: int
    starts_on: date
    ends_on: date | None
    """The last day it may fall on; None where it goes on."""

    def falls_on(self, day: date) -> bool:
        """Tell whether it falls on a day, pauses aside."""
        if day < self.starts_on or (self.ends_on is not None and day > self.ends_on):
            return False
        first_monday = self.starts_on - timedelta(days=self.starts_on.weekday())
        week = (day - first_monday).days // 7
        return week % self.every_weeks == 0 and WEEKDAYS[day.weekday()] in self.weekdays

    def dates(self, first: date, last: date) -> Iterator[date]:
        """Name the days from the first to the last, both included, on which it falls."""
        for ahead in range((last - first).days + 1):
            day = first + timedelta(days=ahead)
            if self.falls_on(day):
                yield day
