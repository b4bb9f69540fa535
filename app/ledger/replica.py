"""Reading from a replica, and never less than what was booked before the question.

A replica gets each entry a moment after the database has it. Whoever booked a roast and asks where
it is must find it, and a hold that quality placed must be seen by everybody: so a read waits until
the replica has the newest entry that the database had when it was asked, and goes to the database
itself when that takes too long. A replica that hangs is left alone for a while.
"""

from collections.abc import Iterator, MutableMapping
from contextlib import ExitStack, contextmanager
from time import monotonic, sleep
from typing import Final
from weakref import WeakKeyDictionary

from sqlalchemy import Engine, func, select
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col

from app.ledger.tables import Entry
from app.shared.db import again_if_cut, reading
from app.shared.patience import hurried, if_it_opens, was_silent

WAIT_S: Final = 1.0
"""So long a read waits for the replica to catch up, or for it to say how far it is."""
REST_S: Final = 30
"""So long a replica that said nothing at all is left alone while the database answers."""
_LOOK_EVERY_S: Final = 0.005
_LEFT_ALONE_UNTIL: Final[MutableMapping[Engine, float]] = WeakKeyDictionary()


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
        caught_up = _caught_up(stack, replica, engine)
        if caught_up is None:
            yield stack.enter_context(reading(engine))
            return
        with _left_alone_if_silent(replica):
            yield caught_up


@contextmanager
def reading_beside(engine: Engine, replica: Engine) -> Iterator[Session]:
    """Read what stands beside the journal: who may come in, which copies were made.

    None of it is an entry, so no replica can be waited for: it is read from the database itself,
    and from the replica as it stands where that is gone.
    """
    if replica is engine:
        with reading(engine) as session:
            yield session
        return
    with ExitStack() as stack:
        try:
            with if_it_opens(engine):
                session = stack.enter_context(reading(engine))
        except OperationalError:
            session = stack.enter_context(reading(replica))
        yield session


@contextmanager
def _left_alone_if_silent(replica: Engine) -> Iterator[None]:
    """Notice a replica that hangs, so that not every read waits for it."""
    try:
        yield
    except OperationalError as error:
        if was_silent(error):
            _LEFT_ALONE_UNTIL[replica] = monotonic() + REST_S
        raise


def _caught_up(stack: ExitStack, replica: Engine, engine: Engine) -> Session | None:
    try:
        with if_it_opens(engine):
            wanted = again_if_cut(lambda: _wanted(engine))
    except OperationalError:
        # Even one that hung is better than none.
        wanted = 0
    else:
        if monotonic() < _LEFT_ALONE_UNTIL.get(replica, 0):
            return None
    ends = monotonic() + WAIT_S
    while monotonic() < ends:
        try:
            with _left_alone_if_silent(replica):
                session = stack.enter_context(reading(replica))
                newest = _newest(session)
        except OperationalError:
            return None
        if newest >= wanted:
            return session
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
