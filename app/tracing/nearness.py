"""Which coffee a rest of other coffee may be in: runs on one machine, tippings into one place.

A machine is passed by one run after the other. Into a silo, a hopper or a tray coffee is tipped, it
stands there for a time, and what stands there together has mixed. In both a rest may be in what
comes next: in so many runs, for so many hours, and never past a clean-down, ends included.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from itertools import accumulate
from typing import Final, NamedTuple

STILL_THERE: Final = datetime.max.replace(tzinfo=UTC)
"""When what has not gone yet will go."""


class Passing(NamedTuple):
    """A unit went over a machine, or stood in a place from one moment to another."""

    came: datetime
    order: int
    """Of what came at the same moment: the lower was first."""
    went: datetime
    unit: int


class Window(NamedTuple):
    """How far a rest goes."""

    runs: int
    hours: int | None


class Vessel:
    """A machine, or with `mixes` a place, with what passed it."""

    def __init__(
        self,
        passings: Sequence[Passing],
        cleaned: Sequence[datetime],
        window: Window,
        *,
        mixes: bool,
    ) -> None:
        self.passings = sorted(passings)
        self._mixes = mixes
        self._window = window
        self._cleaned = sorted(cleaned)
        self._came = [each.came for each in self.passings]
        self._gone = sorted(self.passings, key=lambda each: each.went)
        self._went = [each.went for each in self._gone]
        self._last_went = list(accumulate(self._went_in_order(), max))

    def _went_in_order(self) -> Iterator[datetime]:
        return (each.went for each in self.passings)

    def later(self, i: int) -> Iterator[Passing]:
        """Name what may hold a rest of the passing at `i`."""
        here = self.passings[i]
        if self._mixes:
            yield from self._beside(i)
        first = bisect_right(self._came, here.went) if self._mixes else i + 1
        for other in self.passings[first : first + self._window.runs]:
            if self._carries(here.went, other.came):
                yield other

    def earlier(self, i: int) -> Iterator[Passing]:
        """Name what the passing at `i` may hold a rest of."""
        here, first = self.passings[i], i - self._window.runs
        if not self._mixes:
            before: Sequence[Passing] = self.passings[max(first, 0) : i]
        else:
            yield from self._beside(i)
            # So many tippings ago: what had gone before that one came is too long ago.
            start = 0 if first < 0 else bisect_left(self._went, self._came[first])
            before = self._gone[start : bisect_left(self._went, here.came)]
        for other in before:
            if self._carries(other.went, here.came):
                yield other

    def _carries(self, since: datetime, until: datetime) -> bool:
        hours = self._window.hours
        in_time = hours is None or until - since <= timedelta(hours=hours)
        return in_time and not self._cleaned_in(since, until)

    def _cleaned_in(self, since: datetime, until: datetime) -> bool:
        first = bisect_left(self._cleaned, since)
        return first < len(self._cleaned) and self._cleaned[first] <= until

    def _beside(self, i: int) -> Iterator[Passing]:
        """Name what stood there together with the passing at `i`, whatever the window."""
        here = self.passings[i]
        for other in self.passings[i + 1 : bisect_right(self._came, here.went)]:
            if not self._parted(here, other):
                yield other
        for j in range(i - 1, -1, -1):
            if self._last_went[j] < here.came:
                return
            other = self.passings[j]
            if other.went >= here.came and not self._parted(other, here):
                yield other

    def _parted(self, one: Passing, other: Passing) -> bool:
        """Tell whether one had gone when the other came, and the place was cleaned that moment."""
        ends = {(one.went, other.came), (other.went, one.came)}
        return any(went == came and self._cleaned_in(came, came) for went, came in ends)
