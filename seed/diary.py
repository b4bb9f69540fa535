"""The scenario's clock, and the pen that goes from hand to hand."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from sqlmodel import Session

from app.ledger.posting import Pen
from app.settings import Settings
from app.shared.days import begin_of
from app.shared.staff import Role
from seed.roastery import STAFF

BOOKED_AFTER = timedelta(minutes=2)
"""How long after an act it is usually in the book."""


class Diary:
    """Which day it is, and who writes when.

    In the scenario the book learns of an act when somebody there would have booked it, so the pen's
    clock is set too: a few acts are booked hours after they happened.
    """

    def __init__(self, settings: Settings, days: Sequence[date]) -> None:
        self._settings = settings
        self._days = days
        self._booked = datetime.min.replace(tzinfo=UTC)
        self.number = 0
        """Which day of the scenario it is. What happens depends on this number and not
        on the calendar, so the same year is played whenever it ends."""
        self._session: Session | None = None
        self._pen: Pen | None = None

    def open(self, session: Session) -> None:
        """Begin to write in a transaction."""
        self._session = session
        self._pen = Pen(session, STAFF[Role.ADMIN], self._settings)

    @property
    def session(self) -> Session:
        """The transaction being written."""
        assert self._session is not None  # noqa: S101 - opened by whoever plays
        return self._session

    @property
    def today(self) -> date:
        """The date of the day being played."""
        return self._days[self.number]

    def on_day(self, every: int, first: int) -> bool:
        """Tell whether it is the day for something that comes round."""
        return self.number % every == first

    def at(self, hour: int, minute: int = 0) -> datetime:
        """Name a time of the day being played; minutes beyond the hour are welcome."""
        return begin_of(self.today) + timedelta(hours=hour, minutes=minute)

    def hand(self, who: str, happened: datetime, *, booked: datetime | None = None) -> Pen:
        """Give the pen to somebody who books what happened then, soon after or as said.

        Nobody books before what is in the book already.
        """
        assert self._pen is not None  # noqa: S101 - opened by whoever plays
        # Statements change what is left behind the back of the session: forget what it read.
        self.session.flush()
        self.session.expunge_all()
        self._booked = max(self._booked, booked or happened + BOOKED_AFTER)
        self._pen.who, self._pen.now = who, self._booked
        return self._pen
