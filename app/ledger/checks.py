"""The book checks itself: every balance recomputed from the entries, and the chain of entries."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.journal.reading import entries
from app.ledger.rules import Chain, Replay, lines_from_facts
from app.ledger.tables import Adjustment, BookCheck, Entry, Flow, Unit


class Finding(NamedTuple):
    """What a look through a book found."""

    entries: int
    units: int
    differs: list[str]


def examine(session: Session) -> Finding:
    """Look through a book; a value that cannot even be read differs, too."""
    entries_count = session.scalar(select(func.count(col(Entry.id)))) or 0
    units_count = session.scalar(select(func.count(col(Unit.id)))) or 0
    differs: list[str] = []
    try:
        # Not `list`, which would forget what was found before the unreadable.
        differs.extend(check_book(session))
    except (ValueError, TypeError) as error:
        differs.append(f"the book holds something that cannot be read: {error}")
    return Finding(entries_count, units_count, differs)


def newest_check(session: Session) -> BookCheck | None:
    """Read when `jutebook check` ran last, and what it found."""
    return session.scalars(select(BookCheck).order_by(col(BookCheck.id).desc()).limit(1)).first()


def check_book(session: Session) -> Iterator[str]:
    """Name everything that differs; a sound book yields nothing.

    The entries are read once in order: each must carry the hash of the one before and its
    own. What they say is replayed and held against the tables of units, flows and adjustments.
    """
    replay = Replay()
    yield from _chain(session, replay)
    yield from _units(session, replay)
    yield from _flows(session, replay)
    yield from _adjustments(session, replay)


def _chain(session: Session, replay: Replay) -> Iterator[str]:
    chain = Chain()
    for row in entries(session):
        yield from chain.follow(row)
        yield from _replayed(row, replay)


def _replayed(row: Mapping[str, Any], replay: Replay) -> Iterator[str]:
    try:
        replay.add(row["id"], lines_from_facts(json.loads(row["facts"])["book"]))
    except (ValueError, KeyError, TypeError, AttributeError):
        yield f"entry {row['id']} cannot be read: its facts are damaged"


def _units(session: Session, replay: Replay) -> Iterator[str]:
    seen = set()
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Unit.born_entry_id),
            col(Unit.voided_entry_id),
        )
        .order_by(col(Unit.id))
        .execution_options(yield_per=1000)
    )
    for unit_id, code, kind, made_g, left_g, born, voided in rows:
        seen.add(unit_id)
        if replay.made.get(unit_id) != (code, str(kind), made_g, born):
            yield f"unit {code} is not as its entry made it: {replay.made.get(unit_id)}"
        if replay.left.get(unit_id, 0) != left_g:
            yield (
                f"unit {code} has {left_g} g left in the book; "
                f"its entries give {replay.left.get(unit_id, 0)} g"
            )
        if replay.voided.get(unit_id) != voided:
            yield f"unit {code} is not marked as voided where its entries say so"
    for unit_id in sorted(replay.made.keys() - seen):
        yield f"unit {replay.made[unit_id][0]} stands in the journal and not in the book"


def _flows(session: Session, replay: Replay) -> Iterator[str]:
    expected = dict(replay.flows)
    rows = session.execute(
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams)).execution_options(
            yield_per=1000
        )
    )
    for source_id, target_id, grams in rows:
        entered = expected.pop((source_id, target_id), None)
        if entered != grams:
            yield f"flow {source_id} to {target_id} is {grams} g; its entry says {entered}"
    for source_id, target_id in sorted(expected):
        yield f"flow {source_id} to {target_id} stands in the journal and not in the book"


def _adjustments(session: Session, replay: Replay) -> Iterator[str]:
    rows = session.execute(
        select(
            col(Adjustment.unit_id),
            col(Adjustment.entry_id),
            col(Adjustment.grams),
            col(Adjustment.reason),
        ).execution_options(yield_per=1000)
    )
    expected = Counter(replay.adjusted)
    expected.subtract((unit, entry, grams, str(reason)) for unit, entry, grams, reason in rows)
    for (unit_id, entry_id, grams, reason), times in sorted(expected.items()):
        if times:
            only = "journal" if times > 0 else "book"
            yield (
                f"an adjustment of unit {unit_id} by {grams} g ({reason}, entry {entry_id}) "
                f"stands in the {only} alone"
            )
