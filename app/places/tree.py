"""Places in places: what a place is part of, what is part of it, and what stands there."""

from collections.abc import Collection, Mapping, Sequence
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


class Stock(NamedTuple):
    """What stands at a place and below it."""

    there_g: int
    """What stood there before."""
    newborn_g: int
    """What the entry asked about brought."""


def below(root: int | ColumnElement[int]) -> CTE:
    """Name a place and everything that is part of it, in a statement; column `id`."""
    part = aliased(Location)
    tree = select(literal(root).label("id") if isinstance(root, int) else root.label("id")).cte(
        "below", recursive=True
    )
    return tree.union(select(col(part.id)).join(tree, col(part.parent_id) == tree.c.id))


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
    newborn = func.sum(col(Unit.left_g)).filter(col(Unit.born_entry_id) == bindparam("entry"))
    return (
        select(
            tree.c.root_id,
            func.sum(col(Unit.left_g)).label("whole_g"),
            func.coalesce(newborn, 0).label("newborn_g"),
        )
        .join(Unit, col(Unit.location_id) == tree.c.id)
        .where(STANDING)
        .group_by(tree.c.root_id)
    )


# Built once: putting a statement together takes several times as long as running it.
_PATHS = _paths_statement()
_STOCK = _stock_statement()


def paths(session: Session, ids: Collection[int]) -> Mapping[int, Sequence[Place]]:
    """Lead from the root of the tree to each of these places."""
    found: dict[int, list[Place]] = {}
    for row in session.execute(_PATHS, {"ids": list(ids)}):
        place = Place(row.id, row.code, PlaceKind(row.kind), row.capacity_g, row.above_shoulder)
        found.setdefault(row.start_id, []).append(place)
    return found


def stock(session: Session, ids: Collection[int], newborn_of: int = 0) -> Mapping[int, Stock]:
    """Weigh what stands at and below each of these places, apart from what an entry brought."""
    found = dict.fromkeys(ids, Stock(0, 0))
    for row in session.execute(_STOCK, {"ids": list(ids), "entry": newborn_of}):
        found[row.root_id] = Stock(int(row.whole_g - row.newborn_g), int(row.newborn_g))
    return found


def was_used(session: Session, place_id: int) -> bool:
    """Tell whether coffee ever stood at a place or below it."""
    tree = below(place_id)
    stood = exists().where(col(Move.to_id).in_(select(tree.c.id)))
    return bool(session.scalar(select(stood)))
