"""A drawing of the store: sites, racks and levels, how full each is, how moist, what is held."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from fastapi import Response
from sqlalchemy import case, func, select
from sqlmodel import Session, col

from app.green.condition.queries import lot_moistures
from app.green.readings.rules import Band, worst
from app.green.tables import Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Unit
from app.places.tables import Location, PlaceKind
from app.settings import Settings
from app.shared.staff import Permission
from app.web.desk import Visiting
from app.web.moistures import WORDS
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_

router = page_router()

TASKS = (Task("/store", N_("See the store"), Room.STORE, Permission.READ),)

_DRAWN: Final = 10
"""Sacks that are drawn for a full place; what stands there fills so many of them."""
_SACK_G: Final = 60_000
"""Where a place has no capacity, a drawn sack is a usual one."""

KINDS: Final = {
    PlaceKind.SITE: N_("site"), PlaceKind.ZONE: N_("zone"), PlaceKind.RACK: N_("rack"),
    PlaceKind.BAY: N_("bay"), PlaceKind.LEVEL: N_("level"), PlaceKind.FLOOR: N_("floor"),
    PlaceKind.ROASTER_SIDE: N_("beside the roaster"), PlaceKind.SHELF: N_("shelf"),
    PlaceKind.SILO: N_("silo"), PlaceKind.HOPPER: N_("hopper"), PlaceKind.TRAY: N_("tray"),
    PlaceKind.EXTERNAL: N_("outside the house"),
}  # fmt: skip


@dataclass
class Spot:
    """A place with all that stands there and below it."""

    code: str
    kind: PlaceKind
    capacity_g: int | None
    parts: "list[Spot]" = field(default_factory=list)
    grams: int = 0
    sacks: int = 0
    held: int = 0
    bands: set[Band] = field(default_factory=set)

    @property
    def band(self) -> Band | None:
        """The worst of the green coffee that stands there; None where there is none."""
        return worst(self.bands) if self.bands else None

    @property
    def full_pct(self) -> int | None:
        """How full it is, rounded down; None without a capacity."""
        return None if self.capacity_g is None else self.grams * 100 // self.capacity_g

    @property
    def drawn(self) -> Sequence[bool]:
        """The sacks of its drawing, those that are filled first."""
        if self.capacity_g is None:
            return [True] * min(_DRAWN, -(-self.grams // _SACK_G))
        filled = min(_DRAWN, -(-self.grams * _DRAWN // self.capacity_g))
        return [number < filled for number in range(_DRAWN)]

    def take(self, other: "Spot") -> None:
        """Count what stands at a part with it."""
        self.grams += other.grams
        self.sacks += other.sacks
        self.held += other.held
        self.bands |= other.bands


def store(session: Session, settings: Settings) -> Sequence[Spot]:
    """Read all places as trees with what stands at them; a fixed number of statements."""
    places = session.execute(
        select(
            col(Location.id), col(Location.code), col(Location.kind), col(Location.capacity_g),
            col(Location.parent_id),
        )
    ).all()  # fmt: skip
    spots = {row.id: Spot(row.code, PlaceKind(row.kind), row.capacity_g) for row in places}
    _fill(session, spots, settings)
    roots: list[Spot] = []
    for row in places:
        above = spots.get(row.parent_id)
        (roots if above is None else above.parts).append(spots[row.id])
    for root in roots:
        _add_up(root)
    return sorted(roots, key=lambda spot: (not spot.parts, spot.code))


def _fill(session: Session, spots: Mapping[int, Spot], settings: Settings) -> None:
    rows = _standing(session)
    lots = {row.lot_id for row in rows if row.lot_id is not None}
    moistures = lot_moistures(session, lots, settings)
    for row in rows:
        spot = spots[row.location_id]
        spot.grams += int(row.grams)
        spot.sacks += row.number
        spot.held += int(row.held)
        if row.lot_id is not None:
            spot.bands.add(moistures[row.lot_id].status)


def _standing(session: Session) -> Sequence[Any]:
    units = (
        select(
            col(Unit.location_id), col(Sack.lot_id), col(Unit.left_g),
            case((on_hold(col(Unit.id)), 1), else_=0).label("held"),
        )
        .outerjoin(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Unit.left_g) > 0, col(Unit.location_id).is_not(None))
        .subquery()
    )  # fmt: skip
    return session.execute(
        select(
            units.c.location_id, units.c.lot_id, func.count().label("number"),
            func.sum(units.c.left_g).label("grams"), func.sum(units.c.held).label("held"),
        ).group_by(units.c.location_id, units.c.lot_id)
    ).all()  # fmt: skip


def _add_up(spot: Spot) -> None:
    """Add up from below, and hang levels as they are seen: the highest on top."""
    for part in spot.parts:
        _add_up(part)
        spot.take(part)
    levels = all(part.kind is PlaceKind.LEVEL for part in spot.parts)
    spot.parts.sort(key=lambda part: part.code, reverse=levels)


@router.get("/store")
def show_store(desk: Visiting) -> Response:
    """Draw the store."""
    roots = desk.read(store, desk.settings)
    return desk.show("store.html", roots=roots, bands=WORDS, kinds=KINDS)
