"""Putting coffee somewhere."""

from collections.abc import Mapping, Sequence

from sqlalchemy import func, insert, select, update
from sqlmodel import col

from app.ledger.cards import Shelf, add, named
from app.ledger.posting import Pen
from app.ledger.queries import live, units_by_code
from app.ledger.tables import Unit, UnitKind
from app.places.schemas import LocationIn, LocationOut, Moved, MoveIn, MoveOut
from app.places.tables import Location, Move
from app.shared.db import batched
from app.shared.problems import Refused

LOCATIONS = Shelf("location", Location, LocationOut, key="code", folded="code")

_MOVABLE = (UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN)


def add_location(pen: Pen, asked: LocationIn) -> LocationOut:
    """Enter a place; its code must not be that of a unit, or a reading could mean either."""
    if (
        pen.session.scalars(select(col(Unit.id)).where(col(Unit.code) == asked.code)).first()
        is not None
    ):
        raise Refused("code-taken", f"{asked.code} is the code of a unit in the book.")
    location = add(pen, LOCATIONS, asked)
    assert isinstance(location, LocationOut)  # noqa: S101 - the shelf says so
    return location


def locate(pen: Pen, code: str, pointer: str) -> Location:
    """Find the place that a body names."""
    return named(pen.session, LOCATIONS, code, pointer)


def place(pen: Pen, entry_id: int, unit_ids: Sequence[int], to_id: int) -> None:
    """Record that newly born units stand somewhere."""
    _record(pen, entry_id, dict.fromkeys(unit_ids), to_id)


def move(pen: Pen, asked: MoveIn) -> MoveOut:
    """Move sacks to a place; what stands there already is refused by name."""
    to = locate(pen, asked.to, "#/to")
    assert to.id is not None  # noqa: S101 - read from the database
    found = units_by_code(pen.session, asked.sacks, *_MOVABLE)
    units = [live(found[code]) for code in asked.sacks]
    there = [unit.code for unit in units if unit.location_id == to.id]
    if there:
        raise Refused("already-done", f"Already at {to.code}: {', '.join(there)}.", units=there)
    at = pen.moment(asked.moved_at, "#/moved_at")
    origins = _codes(pen, {unit.location_id for unit in units if unit.location_id is not None})
    entry_id = pen.note("move", asked.model_dump(mode="json"), at)
    moved = [Moved(sack=unit.code, origin=origins.get(unit.location_id or 0)) for unit in units]
    _record(pen, entry_id, {unit.id: unit.location_id for unit in units}, to.id)
    for some in batched([unit.id for unit in units], 500):
        pen.session.execute(
            update(Unit).where(col(Unit.id).in_(some)).values(location_id=to.id)
            .execution_options(synchronize_session=False)
        )  # fmt: skip
    return MoveOut(to=to.code, moved_at=at, sacks=moved, entry=entry_id)


def _record(pen: Pen, entry_id: int, origins: Mapping[int, int | None], to_id: int) -> None:
    last: int = pen.session.scalar(select(func.max(col(Move.id)))) or 0
    rows = [
        {"id": number, "unit_id": unit_id, "from_id": from_id, "to_id": to_id,
         "entry_id": entry_id}
        for number, (unit_id, from_id) in enumerate(origins.items(), last + 1)
    ]  # fmt: skip
    for some in batched(rows, 5000):
        pen.session.execute(insert(Move), some)


def _codes(pen: Pen, ids: set[int]) -> dict[int, str]:
    rows = pen.session.execute(
        select(col(Location.id), col(Location.code)).where(col(Location.id).in_(ids))
    )
    return {location_id: code for location_id, code in rows if location_id is not None}
