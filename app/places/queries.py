"""Reading places and moves."""

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit
from app.places.tables import Location, Move
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def move_page(session: Session, page: Page, code: str | None) -> PageOf:
    """Read moves, oldest first, of one unit or of all."""
    origin = aliased(Location)
    statement: AnySelect = (
        select(
            col(Move.id),
            col(Unit.code),
            col(origin.code).label("origin"),
            col(Location.code).label("to"),
            col(Entry.happened_at),
            col(Entry.who),
        )
        .join(Unit, col(Unit.id) == col(Move.unit_id))
        .join(Location, col(Location.id) == col(Move.to_id))
        .outerjoin(origin, col(origin.id) == col(Move.from_id))
        .join(Entry, col(Entry.id) == col(Move.entry_id))
    )
    if code is not None:
        statement = statement.where(col(Move.unit_id) == unit_by_code(session, code).id)
    rows, following = turn_page(session, statement, col(Move.id), page)
    return [
        {
            "id": row.id, "unit": row.code, "from": row.origin, "to": row.to,
            "moved_at": text(row.happened_at), "who": row.who,
        }
        for row in rows
    ], following  # fmt: skip
