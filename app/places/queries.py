"""Reading places and moves."""

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit
from app.places.actions import LOCATIONS
from app.places.schemas import LocationOut
from app.places.showing import location_out, locations_out
from app.places.tables import Location, Move, PlaceKind
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def location(session: Session, code: str) -> LocationOut:
    """Read one place."""
    return location_out(session, card_at(session, LOCATIONS, code))


def location_page(
    session: Session, page: Page, parent: str | None, kind: PlaceKind | None
) -> PageOf:
    """Read places in the order they were entered, those of one place or kind or all."""
    statement: AnySelect = select(Location, col(Location.id))
    if parent is not None:
        whole = card_at(session, LOCATIONS, parent)
        statement = statement.where(col(Location.parent_id) == whole.id)
    if kind is not None:
        statement = statement.where(col(Location.kind) == kind)
    rows, following = turn_page(session, statement, col(Location.id), page)
    shown = locations_out(session, [row[0] for row in rows])
    return [each.model_dump(by_alias=True) for each in shown], following


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
