"""Finding the facts that stand: the newest of each sort."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any, Generic, NamedTuple, TypeVar

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.arrivals.tables import ArrivalCount, ArrivalInspection, ArrivalWeight
from app.ledger.tables import Entry
from app.shared.db import AnySelect, among

Kind = TypeVar("Kind", ArrivalCount, ArrivalWeight, ArrivalInspection)


class Fact(NamedTuple, Generic[Kind]):
    """A fact, with when it was by the word of whoever recorded it."""

    found: Kind
    at: datetime
    who: str


def newest(
    session: Session, table: type[Kind], lot_ids: Collection[int]
) -> Mapping[int, Fact[Kind]]:
    """Read the newest fact of one sort about each of these lots."""
    last = (
        select(func.max(col(table.id)))
        .where(among(session, col(table.lot_id), lot_ids))
        .group_by(col(table.lot_id))
    )
    rows = session.execute(_with_entry(table).where(col(table.id).in_(last)))
    return {row[1].lot_id: Fact(row[1], row.happened_at, row.who) for row in rows}


def of_lot(table: type[Kind], lot_id: int) -> AnySelect:
    """Select all facts of one sort about a lot."""
    return _with_entry(table).where(col(table.lot_id) == lot_id)


def _with_entry(table: type[Kind]) -> AnySelect:
    key: Any = col(table.id)
    return select(key, table, col(Entry.happened_at), col(Entry.who)).join(
        Entry, col(Entry.id) == col(table.entry_id)
    )
