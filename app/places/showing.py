"""Places as they are answered: with the way to them and what stands there."""

from collections.abc import Sequence

from sqlmodel import Session

from app.places.schemas import LocationOut
from app.places.tables import MIXING, Location
from app.places.tree import paths, stock


def locations_out(session: Session, found: Sequence[Location]) -> list[LocationOut]:
    """Show places, however many, with two more statements."""
    ids = [place.id for place in found if place.id is not None]
    ways, there = paths(session, ids), stock(session, ids)
    shown = []
    for place in found:
        assert place.id is not None  # noqa: S101 - in the database
        way = [step.code for step in ways[place.id]]
        standing_g = there[place.id]
        free_g = None if place.capacity_g is None else place.capacity_g - standing_g
        shown.append(LocationOut(
            id=place.id, version=place.version, code=place.code, kind=place.kind,
            capacity_g=place.capacity_g, site=place.site, above_shoulder=place.above_shoulder,
            parent=way[-2] if len(way) > 1 else None, path=way, standing_g=standing_g,
            free_g=free_g,
            carry_over_runs=place.carry_over_runs if place.kind in MIXING else None,
            carry_over_hours=place.carry_over_hours,
        ))  # fmt: skip
    return shown


def location_out(session: Session, place: Location) -> LocationOut:
    """Show one place."""
    return locations_out(session, [place])[0]
