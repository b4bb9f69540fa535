"""Putting coffee somewhere, and saying where coffee can stand."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import func, select, update
from sqlmodel import Session, col

from app.ledger.cards import Shelf, enter, named, revise
from app.ledger.posting import Pen
from app.ledger.queries import live, moments, unit_by_code, units_by_code
from app.ledger.tables import Flow, Unit, UnitKind
from app.places.capacity import Room, refuse_overfull
from app.places.cautions import lifted_high
from app.places.mixing import refuse_parting
from app.places.rules import Overfull, chain
from app.places.schemas import LocationChange, LocationIn, LocationOut, Moved, MoveIn, MoveOut
from app.places.showing import location_out
from app.places.tables import MIXING, Location, Move, PlaceKind
from app.places.tree import STANDING, below, born_at, paths, stock, was_used
from app.shared.codes import some
from app.shared.db import AnySelect, among, batched, next_number
from app.shared.problems import FieldRefused, Refused
from app.shared.times import text

LOCATIONS = Shelf("location", Location, LocationOut, key="code", folded="code")

_MOVABLE = (UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN)


def add_location(pen: Pen, asked: LocationIn) -> LocationOut:
    """Enter a place; its code must not be that of a unit, or a reading could mean either."""
    if (
        pen.session.scalars(select(col(Unit.id)).where(col(Unit.code) == asked.code)).first()
        is not None
    ):
        raise Refused("code-taken", f"{asked.code} is the code of a unit in the book.")
    parent = None if asked.parent is None else locate(pen, asked.parent, "#/parent").id
    _refuse_site_inside(asked.kind, parent)
    facts = asked.model_dump(exclude={"parent"}) | {"parent_id": parent}
    _refuse_window(asked.kind, facts)
    if asked.carry_over_runs is None:
        del facts["carry_over_runs"]
    return location_out(pen.session, enter(pen, LOCATIONS, asked, facts))


def change_location(
    pen: Pen, code: str, asked: LocationChange, if_match: str | None
) -> LocationOut:
    """Change a place; what it is part of stays once coffee stood there.

    Raises:
        Refused: `place-in-use`; `over-capacity` for a capacity below what stands there.
    """
    version = None if if_match is None else re.sub(r'"(\d+)-[0-9a-f]{12}"', r'"\1"', if_match)
    settle = partial(_settle, pen)
    return location_out(pen.session, revise(pen, LOCATIONS, code, asked, version, settle=settle))


def _settle(pen: Pen, place: Location, changes: dict[str, Any]) -> dict[str, Any]:
    """Decide on a change, and name the place it becomes part of by its number."""
    assert place.id is not None  # noqa: S101 - read from the database
    if "parent" in changes:
        said = changes.pop("parent")
        parent = None if said is None else locate(pen, said, "#/parent")
        changes["parent_id"] = parent.id if parent else None
        if changes["parent_id"] != place.parent_id:
            _refuse_circle(pen.session, place, parent)
            _refuse_used(pen.session, place)
    _refuse_site_inside(changes.get("kind", place.kind), changes.get("parent_id", place.parent_id))
    _refuse_window(changes.get("kind", place.kind), changes)
    if (changes.get("kind", place.kind) in MIXING) != (place.kind in MIXING):
        _refuse_used(pen.session, place, "whether coffee mixes there")
        changes |= {"carry_over_runs": 1, "carry_over_hours": None} | changes
    capacity_g = changes.get("capacity_g")
    if capacity_g is not None and capacity_g != place.capacity_g:
        standing_g = stock(pen.session, [place.id])[place.id]
        if standing_g > capacity_g:
            refuse_overfull(Overfull(place.code, capacity_g, standing_g, 0))
    return changes


def _refuse_site_inside(kind: PlaceKind, parent_id: int | None) -> None:
    if kind == PlaceKind.SITE and parent_id is not None:
        raise FieldRefused("#/parent", "a site is part of no other place: leave the parent out")


def _refuse_window(kind: PlaceKind, said: Mapping[str, object]) -> None:
    """Refuse a window of carry-over on a place where nothing carries over."""
    for name in ("carry_over_runs", "carry_over_hours"):
        if said.get(name) is not None and kind not in MIXING:
            raise FieldRefused(
                f"#/{name}", f"only a silo, a hopper or a tray has it; this is a {kind}"
            )


def _refuse_circle(session: Session, place: Location, parent: Location | None) -> None:
    if parent is None or parent.id is None:
        return
    way = [step.code for step in paths(session, [parent.id])[parent.id]]
    if place.code in way:
        circle = [*way[way.index(place.code) :], place.code]
        raise FieldRefused("#/parent", f"places would go round in a circle: {chain(circle)}")


def _refuse_used(session: Session, place: Location, what: str = "what it is part of") -> None:
    assert place.id is not None  # noqa: S101 - read from the database
    if was_used(session, place.id):
        raise Refused(
            "place-in-use",
            f"Coffee stood at {place.code} or below it, so {what} stays: enter a new "
            "place and move what is there.",
            location=place.code,
        )


def locate(pen: Pen, code: str, pointer: str) -> Location:
    """Find the place that a body names."""
    return named(pen.session, LOCATIONS, code, pointer)


def place(pen: Pen, entry_id: int, unit_ids: Sequence[int], to_id: int) -> None:
    """Record that newly born units, which are in the book already, stand somewhere.

    Raises:
        Refused: `over-capacity` with all that the entry brought there.
    """
    _refuse_overfull_by(pen, entry_id)
    _record(pen, entry_id, dict.fromkeys(unit_ids), to_id)


def _refuse_overfull_by(pen: Pen, entry_id: int) -> None:
    """Ask once for all that an entry brought anywhere, however often its lots are placed."""
    asked: set[int] = pen.session.info.setdefault("asked for room", set())
    if entry_id not in asked:
        asked.add(entry_id)
        coming_g = born_at(pen.session, entry_id)
        refuse_overfull(Room(pen.session, coming_g).short_of(coming_g, booked=True))


def move(pen: Pen, asked: MoveIn) -> MoveOut:
    """Move sacks to a place; what stands there already is refused by name.

    Raises:
        Refused: `over-capacity` when the place, or one it is part of, would carry too much.
    """
    to = locate(pen, asked.to, "#/to")
    assert to.id is not None  # noqa: S101 - read from the database
    units = _chosen(pen, asked, to)
    refuse_parting(pen.session, units)
    at = pen.moment(asked.moved_at, "#/moved_at")
    if asked.moved_at is not None:
        _refuse_before(pen, units, at)
    change_g = Counter({to.id: 0})
    for unit in units:
        change_g[to.id] += unit.left_g
        if unit.location_id is not None:
            change_g[unit.location_id] -= unit.left_g
    refuse_overfull(Room(pen.session, change_g).short_of(change_g))
    origins = _codes(pen, {unit.location_id for unit in units if unit.location_id is not None})
    # Named even where only a place was said: the journal knows what was moved.
    said = asked.model_dump(mode="json") | {"sacks": [unit.code for unit in units]}
    entry_id = pen.note("move", said, at)
    _record(pen, entry_id, {unit.id: unit.location_id for unit in units}, to.id)
    for ids in batched([unit.id for unit in units], 500):
        pen.session.execute(
            update(Unit).where(col(Unit.id).in_(ids)).values(location_id=to.id)
            .execution_options(synchronize_session=False)
        )  # fmt: skip
    sacks = [(unit.code, unit.left_g, to.id) for unit in units if unit.kind == UnitKind.SACK]
    return MoveOut(
        to=to.code,
        moved_at=at,
        sacks=[Moved(sack=unit.code, origin=origins.get(unit.location_id or 0)) for unit in units],
        cautions=lifted_high(pen.session, pen.settings, sacks),
        entry=entry_id,
    )


def _chosen(pen: Pen, asked: MoveIn, to: Location) -> Sequence[Unit]:
    """Find what is to be moved: sacks by name must all move, of a place or a lot the rest."""
    if asked.sacks is not None:
        found = units_by_code(pen.session, asked.sacks, *_MOVABLE)
        units = [live(found[code]) for code in asked.sacks]
        there = [unit.code for unit in units if unit.location_id == to.id]
        if there:
            raise _already_there(to, there)
        return units
    standing = pen.session.scalars(_standing(pen, asked)).all()
    moving = [unit for unit in standing if unit.location_id != to.id]
    if not standing:
        of = f" of {asked.lot}" if asked.lot else ""
        at = f" at {asked.origin}" if asked.origin else ""
        raise Refused("not-found", f"There is nothing left{of}{at} to be moved.")
    if not moving:
        raise _already_there(to, [unit.code for unit in standing])
    return moving


def _standing(pen: Pen, asked: MoveIn) -> AnySelect:
    statement: AnySelect = select(Unit).where(STANDING, col(Unit.kind).in_(_MOVABLE))
    if asked.origin is not None:
        origin = locate(pen, asked.origin, "#/from")
        assert origin.id is not None  # noqa: S101 - read from the database
        statement = statement.where(col(Unit.location_id).in_(select(below(origin.id).c.id)))
    if asked.lot is not None:
        lot = live(unit_by_code(pen.session, asked.lot, UnitKind.LOT))
        sacks = select(col(Flow.target_id)).where(col(Flow.source_id) == lot.id)
        statement = statement.where(col(Unit.id).in_(sacks), col(Unit.kind) == UnitKind.SACK)
    return statement.order_by(col(Unit.id))


def _already_there(to: Location, codes: Sequence[str]) -> Refused:
    return Refused("already-done", f"Already at {to.code}: {some(codes)}.", units=list(codes))


def _refuse_before(pen: Pen, units: Sequence[Unit], at: datetime) -> None:
    """Refuse a move from before a unit was put where it stands: it has one place at a time."""
    ids = [unit.id for unit in units]
    arrived = {unit.id: unit.born_entry_id for unit in units}
    moved = pen.session.execute(
        select(col(Move.unit_id), func.max(col(Move.entry_id)))
        .where(among(pen.session, col(Move.unit_id), ids))
        .group_by(col(Move.unit_id))
    )
    arrived |= {row[0]: row[1] for row in moved}
    at_entry = moments(pen.session, set(arrived.values()))
    for unit in units:
        since = at_entry[arrived[unit.id]]
        if at < since:
            raise FieldRefused(
                "#/moved_at", f"{unit.code} has stood where it is since {text(since)}"
            )


def _record(pen: Pen, entry_id: int, origins: Mapping[int, int | None], to_id: int) -> None:
    first = next_number(pen.session, col(Move.id))
    pen.write(Move, (
        {"id": number, "unit_id": unit_id, "from_id": from_id, "to_id": to_id,
         "entry_id": entry_id}
        for number, (unit_id, from_id) in enumerate(origins.items(), first)
    ))  # fmt: skip


def _codes(pen: Pen, ids: set[int]) -> dict[int, str]:
    rows = pen.session.execute(
        select(col(Location.id), col(Location.code)).where(col(Location.id).in_(ids))
    )
    return {location_id: code for location_id, code in rows if location_id is not None}
