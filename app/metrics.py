"""What the service counts, as Prometheus reads it.

Requests are counted by the process that answers them; with several workers each keeps its counters
in the folder that `PROMETHEUS_MULTIPROC_DIR` names, and whichever is asked adds them up. What the
book and the replica say of themselves is read when it is asked.
"""

import os
from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Final, NamedTuple

from prometheus_client import (
    REGISTRY,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
    multiprocess,
)
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector
from sqlalchemy import Engine, text

from app.copies.queries import newest_backup
from app.copies.tables import BookBackup
from app.ledger.checks import newest_check
from app.ledger.journal.reading import head
from app.ledger.tables import BookCheck
from app.shared.db import answer_of, reading
from app.shared.patience import hurried
from app.shared.times import now

_REQUESTS: Final = Counter(
    "jutebook_requests", "Requests answered.", ["method", "operation", "status"]
)
_SECONDS: Final = Histogram(
    "jutebook_request_seconds",
    "From the first byte of a request to the last of its answer.",
    ["method"],
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30),
)
IN_PROGRESS: Final = Gauge(
    "jutebook_requests_in_progress",
    "Requests being worked on or waiting for a thread or the pen.",
    multiprocess_mode="livesum",
)
_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"})


def count(method: str, operation: str, status: int, took_s: float) -> None:
    """Count a request. What a stranger made up as a method makes no counter of its own."""
    known = method if method in _METHODS else "other"
    _REQUESTS.labels(known, operation, status).inc()
    _SECONDS.labels(known).observe(took_s)


def told(engine: Engine, read_engine: Engine) -> bytes:
    """Write everything as Prometheus text: of all workers, of the book and of its replica."""
    whole = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        whole = CollectorRegistry()
        multiprocess.MultiProcessCollector(whole)  # type: ignore[no-untyped-call]
    book = CollectorRegistry()
    book.register(_Said(list(_of_the_book(engine, read_engine))))
    return generate_latest(whole) + generate_latest(book)


class _Said(Collector):
    """Figures that were read just now and are kept by nobody."""

    def __init__(self, figures: Iterable[Metric]) -> None:
        self._figures = figures

    def collect(self) -> Iterable[Metric]:
        return self._figures


def _figure(name: str, meaning: str, value: float) -> Metric:
    return GaugeMetricFamily(f"jutebook_{name}", meaning, value)


class _Known(NamedTuple):
    """What a database says of the book."""

    entries: int
    checked: BookCheck | None
    backup: BookBackup | None


class _Following(NamedTuple):
    """How a replica follows its database."""

    receives: bool
    lag_s: float | None


def _of_the_book(engine: Engine, read_engine: Engine) -> Iterator[Metric]:
    """Tell all that anybody knows: while the database is gone, what its replica does."""
    book = answer_of(engine, _known)
    yield _figure("database_up", "Whether the database answers.", book is not None)
    if book is not None:
        yield _figure("entries", "Entries in the journal.", book.entries)
    copy = None
    if read_engine is not engine:
        copy = answer_of(read_engine, _known)
        following = answer_of(read_engine, _following) if copy else None
        yield from _of_the_replica(copy, following, book)
    there = book or copy
    if there is not None:
        yield from _of_notes(there)


def _known(engine: Engine) -> _Known:
    with reading(engine) as session, hurried(session.connection()):
        return _Known(head(session).entry, newest_check(session), newest_backup(session))


def _of_notes(there: _Known) -> Iterator[Metric]:
    checked, backup = there.checked, there.backup
    if checked is not None:
        age_s = (now() - checked.checked_at) / timedelta(seconds=1)
        yield _figure("check_age_seconds", "Since the book last checked itself.", age_s)
        yield _figure("check_entries", "Entries there were then.", checked.entries)
        yield _figure("check_differences", "How many things differed.", checked.differences)
    if backup is not None:
        age_s = (now() - backup.made_at) / timedelta(seconds=1)
        yield _figure("backup_age_seconds", "Since the last backup was begun.", age_s)
        yield _figure("backup_entries", "Entries that are in it.", backup.entries)


_HOW_IT_FOLLOWS: Final = text("""
    SELECT
        pg_is_in_recovery() AS is_standby,
        EXISTS (SELECT FROM pg_stat_wal_receiver) AS receives,
        pg_last_wal_receive_lsn() <= pg_last_wal_replay_lsn() AS has_all,
        CAST(
            extract(epoch FROM clock_timestamp() - pg_last_xact_replay_timestamp())
            AS double precision
        ) AS age_s
""")
"""What is received is asked before what is replayed, which may get past it meanwhile."""


def _following(engine: Engine) -> _Following:
    """Ask how a replica follows.

    That all it received is replayed says something only while it receives; else it may be as old as
    the newest transaction it has. Of one that replayed none since it was started nothing is known.
    """
    with reading(engine) as session, hurried(session.connection()):
        told = session.execute(_HOW_IT_FOLLOWS).one()
    if not told.is_standby:
        return _Following(receives=False, lag_s=None)
    if told.receives and told.has_all:
        return _Following(receives=True, lag_s=0)
    # The moment is the database's, and its clock may be ahead.
    lag_s = None if told.age_s is None else max(0, told.age_s)
    return _Following(told.receives, lag_s)


def _of_the_replica(
    copy: _Known | None, following: _Following | None, book: _Known | None
) -> Iterator[Metric]:
    yield _figure("replica_up", "Whether the replica answers.", copy is not None)
    if copy is None:
        return
    yield _figure("replica_entries", "Entries that the replica has.", copy.entries)
    if book is not None:
        # It may have got more since the database was asked.
        behind = max(0, book.entries - copy.entries)
        yield _figure("replica_entries_behind", "Entries that the replica has not got.", behind)
    if following is None:
        return
    yield _figure(
        "replica_receiving", "Whether the replica receives from a database.", following.receives
    )
    if following.lag_s is not None:
        meaning = "How old what the replica shows may be: 0 with all that is sent to it."
        yield _figure("replica_lag_seconds", meaning, following.lag_s)
