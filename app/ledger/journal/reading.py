"""Reading the journal line by line, and where it ends."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, SQLModel, col

from app.ledger.rules import FIRST_SHA256
from app.ledger.tables import Entry


class Head(NamedTuple):
    """Where the journal ends: whoever notes this down can prove all that stands before it."""

    entry: int
    sha256: str
    recorded_at: datetime | None


def head(session: Session) -> Head:
    """Read the last line; an empty journal ends where the first line begins."""
    row = session.execute(
        select(col(Entry.id), col(Entry.sha256), col(Entry.recorded_at))
        .order_by(col(Entry.id).desc())
        .limit(1)
    ).first()
    return Head(0, FIRST_SHA256, None) if row is None else Head(*row)


def entries(session: Session, first: int = 1, last: int | None = None) -> Iterator[dict[str, Any]]:
    """Read entries with all their members in order, a thousand at a time."""
    statement = select(*SQLModel.metadata.tables["entry"].c).where(col(Entry.id) >= first)
    if last is not None:
        statement = statement.where(col(Entry.id) <= last)
    rows = session.execute(statement.order_by(col(Entry.id)).execution_options(yield_per=1000))
    for row in rows.mappings():
        yield dict(row)
