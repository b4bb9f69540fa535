"""What stands at a place, and what else is to be known there."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import Row, func, select
from sqlmodel import Session, col

from app.green.counting.queries import count_page
from app.green.counting.rules import Status
from app.green.counting.schemas import CountBrief
from app.green.tables import GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Unit
from app.places.queries import location, location_page
from app.places.schemas import LocationOut
from app.places.tables import Location
from app.places.tree import below
from app.shared.paging import Page

MOST: Final = 500
"""Nobody reads more lines than this; the page says that there are more."""


class Here(NamedTuple):
    """A place, what is part of it, what stands there, and the counts of it that are open."""

    place: LocationOut
    parts: Sequence[Mapping[str, Any]]
    """As a list of places answers them."""
    standing: Sequence[Row[Any]]
    more: int
    """How many lines are not shown."""
    counts: Sequence[int]

    @property
    def full_pct(self) -> int | None:
        """How full it is, rounded down; None without a capacity."""
        capacity_g = self.place.capacity_g
        return None if capacity_g is None else self.place.standing_g * 100 // capacity_g


def standing_at(session: Session, code: str) -> Here:
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
            func.count().over().label("all"),
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
    parts, _more = location_page(session, Page(MOST, 0), place.code, None)
    rows_of_counts, _more = count_page(session, Page(MOST, 0), Status.OPEN)
    counts = [CountBrief.model_validate(each) for each in rows_of_counts]
    return Here(
        place=place,
        parts=parts,
        standing=rows,
        more=rows[0].all - len(rows) if rows else 0,
        counts=[each.id for each in counts if each.location in place.path],
    )
