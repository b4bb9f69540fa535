"""Reading from a replica, and never less than what was booked before the question.

A replica gets each entry a moment after the database has it. Whoever booked a roast and asks where
it is must find it, and a hold that quality placed must be seen by everybody: so a read waits until
the replica has the newest entry that the database had when it was asked, and goes to the database
itself when that takes too long.
"""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from time import monotonic, sleep
from typing import Final

from sqlalchemy import Engine, func, select
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col

from app.ledger.tables import Entry
from app.shared.db import again_if_cut, reading
from app.shared.patience import hurried

WAIT_S: Final = 1.0
_LOOK_EVERY_S: Final = 0.005


@contextmanager
def reading_all_booked(replica: Engine, engine: Engine) -> Iterator[Session]:
    """Read one state of the book that has every entry booked until now.

    It is the replica's while that answers and catches up, else the database's own; the replica's as
    it stands where the database is gone, for a question in a recall cannot wait for it.
    """
    if replica is engine:
        with reading(engine) as session:
            yield session
        return
    with ExitStack() as stack:
        yield _caught_up(stack, replica, engine) or stack.enter_context(reading(engine))


def _caught_up(stack: ExitStack, replica: Engine, engine: Engine) -> Session | None:
    try:
        wanted = again_if_cut(lambda: _wanted(engine))
    except OperationalError:
        wanted = 0
    ends = monotonic() + WAIT_S
    while monotonic() < ends:
        try:
            session = stack.enter_context(reading(replica))
            if _newest(session) >= wanted:
                return session
        except OperationalError:
            return None
        # The session reads one state; a later one is seen by another.
        session.close()
        sleep(_LOOK_EVERY_S)
    return None


def _wanted(engine: Engine) -> int:
    with reading(engine) as session:
        return _newest(session)


def _newest(session: Session) -> int:
    with hurried(session.connection()):
        return session.scalar(select(func.max(col(Entry.id)))) or 0
