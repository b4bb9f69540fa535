"""What stands at a place."""

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.green.tables import GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Unit
from app.places.queries import location
from app.places.schemas import LocationOut
from app.places.tables import Location
from app.places.tree import below

MOST: Final = 500
"""Nobody reads more lines than this; the page says that there are more."""


def standing_at(session: Session, code: str) -> tuple[LocationOut, Sequence[Row[Any]]]:
    """Read a place, and the units with anything left at it and below it."""
    place = location(session, code)
    here = select(col(Location.id)).where(col(Location.code) == place.code)
    rows = session.execute(
        select(
            col(Unit.code),
            col(Unit.kind),
            col(Unit.left_g),
            col(Location.code).label("at"),
            col(GreenLot.name),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Location, col(Location.id) == col(Unit.location_id))
        .outerjoin(Sack, col(Sack.unit_id) == col(Unit.id))
        .outerjoin(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
        .where(
            col(Unit.location_id).in_(select(below(here.scalar_subquery()).c.id)),
            col(Unit.left_g) > 0,
        )
        .order_by(col(Location.code), col(Unit.id))
        .limit(MOST)
    ).all()
    return place, rows
