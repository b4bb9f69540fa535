"""Loose coffee that has mixed in a silo, a hopper or a tray is moved together or not at all.

Sacks and bags that stand there are closed: they mix with nothing.
"""

from collections.abc import Collection, Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.tables import Unit, UnitKind
from app.places.tables import MIXING, Location
from app.places.tree import STANDING
from app.shared.codes import some
from app.shared.db import among
from app.shared.problems import Refused

LOOSE = (UnitKind.ROAST, UnitKind.BLEND)
"""What is poured."""


def refuse_parting(session: Session, moving: Sequence[Unit]) -> None:
    """Refuse to move some of what has mixed away from the rest.

    Raises:
        Refused: `mixed` naming what would stay behind.
    """
    place, codes = _mixed_with(session, moving)
    if codes:
        raise Refused(
            "mixed",
            f"What is in {place} has mixed: {some(codes)} would stay behind. Move all of it.",
            location=place,
            units=codes,
        )


def refuse_apart(session: Session, unit: Unit) -> None:
    """Refuse to weigh one unit apart from what it has mixed with.

    Raises:
        Refused: `mixed` naming the others.
    """
    place, codes = _mixed_with(session, [unit])
    if codes:
        raise Refused(
            "mixed",
            f"{unit.code} has mixed with {some(codes)} in {place}: adjust what is in the place "
            "instead.",
            location=place,
            units=codes,
        )


def mixed_in(session: Session, place: Location) -> list[Unit]:
    """Find what has mixed in a place, the oldest first.

    Raises:
        Refused: `invalid` for a place where coffee does not mix.
    """
    if place.kind not in MIXING:
        raise Refused(
            "invalid",
            f"{place.code} is a {place.kind}, where coffee does not mix: name the unit instead.",
        )
    assert place.id is not None  # noqa: S101 - read from the database
    return [unit for unit, _ in _mixed(session, {place.id})]


def _mixed_with(session: Session, units: Sequence[Unit]) -> tuple[str, list[str]]:
    """Name a place where units have mixed with others, and what is mixed with them."""
    places = {
        unit.location_id for unit in units if unit.kind in LOOSE and unit.location_id is not None
    }
    own = {unit.id for unit in units}
    others = [(unit, place) for unit, place in _mixed(session, places) if unit.id not in own]
    return others[0][1] if others else "", [unit.code for unit, _ in others]


def _mixed(session: Session, places: Collection[int]) -> list[tuple[Unit, str]]:
    """Find loose coffee in those places where coffee mixes, with the code of each place."""
    if not places:
        return []
    rows = session.execute(
        select(Unit, col(Location.code))
        .join(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.location_id), places), STANDING)
        .where(col(Location.kind).in_(MIXING), col(Unit.kind).in_(LOOSE))
        .order_by(col(Unit.id))
    )
    return [(unit, place) for unit, place in rows]
