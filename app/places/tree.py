"""Places in places: what a place is part of, what is part of it, and what stands there."""

from collections.abc import Collection, Mapping, Sequence
from functools import cache
from typing import NamedTuple

from sqlalchemy import CTE, ColumnElement, bindparam, exists, func, literal, literal_column, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Unit
from app.places.tables import Location, Move, PlaceKind
from app.shared.db import AnySelect

STANDING: ColumnElement[bool] = col(Unit.left_g) > literal_column("0")
"""A unit with anything left. The figure is written out: only so do databases see that the narrow
index of what stands where will do."""


class Place(NamedTuple):
    """A place on the way from the root of its tree."""

    id: int
    code: str
    kind: PlaceKind
    capacity_g: int | None
    above_shoulder: bool | None


def below(root: int | ColumnElement[int]) -> CTE:
    """Name a place and everything that is part of it, in a statement; column `id`."""
    first = literal(root) if isinstance(root, int) else root
    return _with_parts(select(first.label("id")), "below")


def outside() -> CTE:
    """Name the places outside the house and everything that is part of them; column `id`."""
    roots: AnySelect = select(col(Location.id).label("id")).where(
        col(Location.kind) == PlaceKind.EXTERNAL
    )
    return _with_parts(roots, "outside")


def _with_parts(roots: AnySelect, name: str) -> CTE:
    part, tree = aliased(Location), roots.cte(name, recursive=True)
    return tree.union(select(col(part.id)).join(tree, col(part.parent_id) == tree.c.id))


@cache
def _paths_statement() -> AnySelect:
    whole = aliased(Location)
    up = (
        select(
            col(Location.id).label("start_id"),
            col(Location.id).label("id"),
            col(Location.parent_id).label("parent_id"),
            literal_column("0").label("height"),
        )
        .where(col(Location.id).in_(bindparam("ids", expanding=True)))
        .cte("up", recursive=True)
    )
    up = up.union_all(
        select(up.c.start_id, col(whole.id), col(whole.parent_id), up.c.height + 1).join(
            up, col(whole.id) == up.c.parent_id
        )
    )
    return (
        select(
            up.c.start_id,
            col(Location.id),
            col(Location.code),
            col(Location.kind),
            col(Location.capacity_g),
            col(Location.above_shoulder),
        )
        .join(up, col(Location.id) == up.c.id)
        .order_by(up.c.start_id, up.c.height.desc())
    )


@cache
def _stock_statement() -> AnySelect:
    part = aliased(Location)
    tree = (
        select(col(Location.id).label("root_id"), col(Location.id).label("id"))
        .where(col(Location.id).in_(bindparam("ids", expanding=True)))
        .cte("tree", recursive=True)
    )
    tree = tree.union_all(
        select(tree.c.root_id, col(part.id)).join(tree, col(part.parent_id) == tree.c.id)
    )
    # Place by place: joined, SQLite may read every sack there ever was to sort out the places.
    there = (
        select(func.coalesce(func.sum(col(Unit.left_g)), 0))
        .where(col(Unit.location_id) == tree.c.id, STANDING)
        .correlate(tree)
        .scalar_subquery()
    )
    return select(tree.c.root_id, func.sum(there)).group_by(tree.c.root_id)


# Built once: putting a statement together takes several times as long as running it.
_PATHS = _paths_statement()
_STOCK = _stock_statement()
_BORN = (
    select(col(Unit.location_id), func.sum(col(Unit.left_g)))
    .where(col(Unit.born_entry_id) == bindparam("entry"), col(Unit.location_id).is_not(None))
    .group_by(col(Unit.location_id))
)


def paths(session: Session, ids: Collection[int]) -> Mapping[int, Sequence[Place]]:
    """Lead from the root of the tree to each of these places."""
    found: dict[int, list[Place]] = {}
    for row in session.execute(_PATHS, {"ids": list(ids)}):
        place = Place(row.id, row.code, PlaceKind(row.kind), row.capacity_g, row.above_shoulder)
        found.setdefault(row.start_id, []).append(place)
    return found


def stock(session: Session, ids: Collection[int]) -> Mapping[int, int]:
    """Weigh in grams what stands at and below each of these places."""
    found = dict.fromkeys(ids, 0)
    for place_id, grams in session.execute(_STOCK, {"ids": list(ids)}):
        found[place_id] = int(grams)
    return found


def born_at(session: Session, entry_id: int) -> Mapping[int, int]:
    """Weigh what an entry brought to each place, which stands there now."""
    return {place_id: int(grams) for place_id, grams in session.execute(_BORN, {"entry": entry_id})}


def was_used(session: Session, place_id: int) -> bool:
    """Tell whether coffee ever stood at a place or below it."""
    tree = below(place_id)
    stood = exists().where(col(Move.to_id).in_(select(tree.c.id)))
    return bool(session.scalar(select(stood)))
