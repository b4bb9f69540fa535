"""What a count found: book against counted, and the part that moisture explains."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from app.standards.moisture import explained_change, half_up

ALL_PCT = 100


class Status(StrEnum):
    """How far a count has come."""

    OPEN = "open"
    """People count; no mass is shown."""
    CLOSED = "closed"
    """Counting has ended; somebody else decides."""
    APPROVED = "approved"
    REJECTED = "rejected"


class Found(NamedTuple):
    """The line about a sack that counts."""

    sack_id: int
    lot: str
    counted_g: int | None
    """None where it was not found."""
    book_g: int

    @property
    def variance_g(self) -> int:
        """Counted less book; what was not found is missing whole."""
        return (self.counted_g or 0) - self.book_g


class Moistures(NamedTuple):
    """The first and the newest moisture of a lot by one method, wet basis."""

    first_pct: Decimal
    newest_pct: Decimal


class Sums(NamedTuple):
    """What several lines come to."""

    sacks: int
    book_g: int
    counted_g: int
    explained_g: int | None

    @property
    def variance_g(self) -> int:
        return self.counted_g - self.book_g

    @property
    def remaining_g(self) -> int | None:
        """What moisture does not explain; unknown where it is unknown what it explains."""
        return None if self.explained_g is None else self.variance_g - self.explained_g


def explained_g(line: Found, moistures: Moistures | None) -> Fraction | None:
    """Work out how much lighter or heavier drying or damp alone made what was found.

    Unknown without two readings, and of a sack that was not found. The book is never rewritten by
    it: the figure stands beside the variance.
    """
    if moistures is None or line.counted_g is None or max(moistures) >= ALL_PCT:
        return None
    return explained_change(line.book_g, *moistures)


def sums(lines: Iterable[Found], moistures: Mapping[str, Moistures]) -> Sums:
    """Add up lines; rounded once, at the end, so that no sum of rounded parts misleads."""
    found = list(lines)
    explained = [part for line in found if (part := _part(line, moistures)) is not None]
    return Sums(
        sacks=len(found),
        book_g=sum(line.book_g for line in found),
        counted_g=sum(line.counted_g or 0 for line in found),
        explained_g=int(half_up(sum(explained, Fraction(0)), 0)) if explained else None,
    )


def _part(line: Found, moistures: Mapping[str, Moistures]) -> Fraction | None:
    return explained_g(line, moistures.get(line.lot))


def short_of(variance_g: int, left_g: int) -> bool:
    """Tell whether a sack was drawn from so far since that it cannot give the variance."""
    return left_g + variance_g < 0


class Event(NamedTuple):
    """Something that changed what the book has in a sack."""

    booked: int
    """The entry that booked it."""
    taken_back: int | None
    """The entry that voided it."""
    happened_at: datetime
    is_count: bool


def outdates(event: Event, line_entry: int, counted_at: datetime) -> bool:
    """Tell whether an event makes a line wrong, so that booking its variance corrects twice.

    What happened after counting disturbs nothing. What had happened by then and was booked or taken
    back since does: the line was held against a book that did not know it. And so does another
    count that was booked after counting: nobody can tell which of the two found what first.
    """
    taken_back_since = event.taken_back is not None and event.taken_back > line_entry
    if event.is_count:
        later = event.booked > line_entry or event.happened_at > counted_at
        return later or taken_back_since
    if event.happened_at > counted_at:
        return False
    known = event.booked < line_entry
    counts_now = event.taken_back is None
    return taken_back_since if known else counts_now
