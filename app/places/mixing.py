"""Loose coffee that has mixed in a silo, a hopper or a tray is moved together or not at all."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.tables import Unit, UnitKind
from app.places.tables import MIXING, Location
from app.places.tree import STANDING
from app.shared.db import among
from app.shared.problems import Refused

_LOOSE = (UnitKind.ROAST, UnitKind.BLEND)


def refuse_parting(session: Session, moving: Sequence[Unit]) -> None:
    """Refuse to move some of what has mixed away from the rest.

    Raises:
        Refused: `mixed` naming what would stay behind.
    """
    places = {
        unit.location_id for unit in moving if unit.kind in _LOOSE and unit.location_id is not None
    }
    if not places:
        return
    staying = session.execute(
        select(col(Unit.code), col(Location.code).label("location"))
        .join(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.location_id), places), STANDING)
        .where(col(Location.kind).in_(MIXING), col(Unit.kind).in_(_LOOSE))
        .where(~among(session, col(Unit.id), [unit.id for unit in moving]))
        .order_by(col(Unit.id))
    ).all()
    if staying:
        codes = [row.code for row in staying]
        shown = ", ".join(codes[:20]) + (", …" if len(codes) > 20 else "")  # noqa: PLR2004 - enough to see
        raise Refused(
            "mixed",
            f"What is in {staying[0].location} has mixed: {shown} would stay behind. Move all of "
            "it.",
            location=staying[0].location,
            units=codes,
        )


def mixed_in(session: Session, place: Location) -> tuple[Location, list[Unit]]:
    """Find what stands in a place where coffee mixes, the oldest first.

    Raises:
        Refused: `invalid` for another kind of place.
    """
    if place.kind not in MIXING:
        raise Refused(
            "invalid",
            f"{place.code} is a {place.kind}, where coffee does not mix: name the unit instead.",
        )
    standing = select(Unit).where(col(Unit.location_id) == place.id, STANDING)
    return place, list(session.scalars(standing.order_by(col(Unit.id))))


def refuse_apart(session: Session, unit: Unit) -> None:
    """Refuse to weigh one unit apart from what it has mixed with.

    Raises:
        Refused: `mixed` naming the others.
    """
    if unit.kind not in _LOOSE or unit.location_id is None:
        return
    place = session.get_one(Location, unit.location_id)
    if place.kind not in MIXING:
        return
    others = [each.code for each in mixed_in(session, place)[1] if each.id != unit.id]
    if others:
        raise Refused(
            "mixed",
            f"{unit.code} has mixed with {', '.join(others[:20])} in {place.code}: adjust what is "
            "in the place instead.",
            location=place.code,
            units=others,
        )
