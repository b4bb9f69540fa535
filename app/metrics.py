"""What the service counts, as Prometheus reads it.

Requests are counted by the process that answers them; with several workers each keeps its counters
in the folder that `PROMETHEUS_MULTIPROC_DIR` names, and whichever is asked adds them up. What the
book and the replica say of themselves is read when it is asked.
"""

import os
from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Final

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
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from app.copies.queries import newest_backup
from app.ledger.checks import newest_check
from app.ledger.journal.reading import head
from app.shared.db import reading
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


def _of_the_book(engine: Engine, read_engine: Engine) -> Iterator[Metric]:
    try:
        with reading(engine) as session, hurried(session.connection()):
            ends = head(session).entry
            checked, backup = newest_check(session), newest_backup(session)
    except DBAPIError:
        yield _figure("database_up", "Whether the database answers.", 0)
        return
    yield _figure("database_up", "Whether the database answers.", 1)
    yield _figure("entries", "Entries in the journal.", ends)
    if checked is not None:
        age_s = (now() - checked.checked_at) / timedelta(seconds=1)
        yield _figure("check_age_seconds", "Since the book last checked itself.", age_s)
        yield _figure("check_entries", "Entries there were then.", checked.entries)
        yield _figure("check_differences", "How many things differed.", checked.differences)
    if backup is not None:
        age_s = (now() - backup.made_at) / timedelta(seconds=1)
        yield _figure("backup_age_seconds", "Since the last backup was begun.", age_s)
        yield _figure("backup_entries", "Entries that are in it.", backup.entries)
    if read_engine is not engine:
        yield from _of_the_replica(read_engine, ends)


def _of_the_replica(read_engine: Engine, ends: int) -> Iterator[Metric]:
    try:
        with reading(read_engine) as session, hurried(session.connection()):
            there = head(session).entry
    except DBAPIError:
        yield _figure("replica_up", "Whether the replica answers.", 0)
        return
    yield _figure("replica_up", "Whether the replica answers.", 1)
    # It may have got more since the database was asked.
    behind = max(0, ends - there)
    yield _figure("replica_entries_behind", "Entries that the replica has not got.", behind)
