"""The task of finding a coffee: where it stands, how much, how old, how moist, on hold or not."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from pycountry import countries
from sqlalchemy import ColumnElement, case, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.condition.queries import lot_moistures
from app.green.condition.schemas import LotMoisture
from app.green.identity.queries import marked
from app.green.tables import Delivery, GreenLot, Sack, Supplier
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.tables import Location
from app.settings import Settings
from app.shared.db import AnySelect, among
from app.shared.staff import Permission
from app.shared.times import now
from app.web.desk import Visiting
from app.web.moistures import WORDS
from app.web.offers import Offer, left
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, manner

router = page_router()

TASKS = (Task("/coffee", N_("Find a coffee"), Room.STORE, Permission.READ),)
OFFERS = (
    Offer(
        "/coffee?text={code}", N_("Where it stands"), Permission.READ, frozenset({UnitKind.LOT}),
        left, likely=frozenset({UnitKind.LOT}),
    ),
)  # fmt: skip

_MOST: Final = 30
_SPOKEN: Final = 2
"""From so many letters on the name of a country is looked through."""


class Stand(NamedTuple):
    """So much of a lot at one place."""

    place: str | None
    sacks: int
    grams: int


class Coffee(NamedTuple):
    """A lot, and where it is."""

    code: str
    name: str
    origin: str
    supplier: str | None
    crop_year: str | None
    came_at: datetime
    days: int
    held_g: int
    stands: Sequence[Stand]
    moisture: LotMoisture

    @property
    def sacks(self) -> int:
        """How many sacks of it have anything left."""
        return sum(stand.sacks for stand in self.stands)

    @property
    def grams(self) -> int:
        """How much of it is there."""
        return sum(stand.grams for stand in self.stands)


def _says(text: str) -> ColumnElement[bool]:
    """Tell of a lot whether its name, origin, code, mark, producer or supplier says something."""
    said = text.casefold()
    columns = (
        col(GreenLot.name), col(Unit.code), col(GreenLot.ico_mark), col(GreenLot.region),
        col(GreenLot.producer), col(GreenLot.variety), col(GreenLot.process), col(Supplier.name),
    )  # fmt: skip
    found = [func.lower(column).contains(said, autoescape=True) for column in columns]
    # A database may know small letters of plain Latin alone.
    found += [column.contains(text, autoescape=True) for column in columns]
    named = manner().locale.territories
    origins = [
        each.alpha_2
        for each in countries
        if said == each.alpha_2.casefold()
        or (len(said) > _SPOKEN and said in f"{each.name} {named.get(each.alpha_2)}".casefold())
    ]
    return or_(*found, col(GreenLot.origin).in_(origins), marked(text))


def _lots(text: str, *, used_up: bool) -> AnySelect:
    sack = aliased(Unit)
    left = (
        select(col(Sack.lot_id))
        .join(sack, col(sack.id) == col(Sack.unit_id))
        .where(col(sack.left_g) > 0)
    )
    statement: AnySelect = (
        select(
            col(Unit.id),
            col(Unit.code),
            GreenLot,
            col(Supplier.name).label("supplier"),
            col(Entry.happened_at),
            func.count().over().label("all"),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .where(col(Unit.voided_entry_id).is_(None))
        .order_by(col(Entry.happened_at).desc(), col(Unit.id).desc())
        .limit(_MOST)
    )
    if text:
        statement = statement.where(_says(text))
    return statement if used_up else statement.where(col(Unit.id).in_(left))


def coffees(
    session: Session, settings: Settings, text: str, *, used_up: bool
) -> tuple[Sequence[Coffee], int]:
    """Find lots by what somebody says of them, and how many more there are; four statements."""
    rows = session.execute(_lots(text, used_up=used_up)).all()
    ids = [row.id for row in rows]
    stands, held = _stands(session, ids)
    moistures = lot_moistures(session, ids, settings)
    found = [
        Coffee(
            code=row.code,
            name=row.GreenLot.name,
            origin=row.GreenLot.origin,
            supplier=row.supplier,
            crop_year=row.GreenLot.crop_year,
            came_at=row.happened_at,
            days=(now() - row.happened_at).days,
            held_g=held.get(row.id, 0),
            stands=stands.get(row.id, ()),
            moisture=moistures[row.id],
        )
        for row in rows
    ]
    return found, rows[0].all - len(rows) if rows else 0


def _stands(
    session: Session, lot_ids: Sequence[int]
) -> tuple[Mapping[int, Sequence[Stand]], Mapping[int, int]]:
    """Say by lot where it stands, and how much of it is on hold."""
    held = case((on_hold(col(Unit.id)), col(Unit.left_g)), else_=0)
    sacks = (
        select(
            col(Sack.lot_id), col(Unit.left_g), col(Location.code).label("place"),
            held.label("held_g"),
        )
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Sack.lot_id), lot_ids), col(Unit.left_g) > 0)
        .subquery()
    )  # fmt: skip
    rows: Any = session.execute(
        select(
            sacks.c.lot_id, sacks.c.place, func.count(), func.sum(sacks.c.left_g),
            func.sum(sacks.c.held_g),
        )
        .group_by(sacks.c.lot_id, sacks.c.place)
    )  # fmt: skip
    stands: dict[int, list[Stand]] = {}
    held_g: dict[int, int] = {}
    for lot_id, place, number, grams, stopped_g in rows:
        stands.setdefault(lot_id, []).append(Stand(place, number, int(grams)))
        held_g[lot_id] = held_g.get(lot_id, 0) + int(stopped_g)
    for each in stands.values():
        each.sort(key=lambda stand: (stand.place is None, stand.place or ""))
    return stands, held_g


@router.get("/coffee")
def find_coffee(
    desk: Visiting,
    text: Annotated[str, Query(max_length=200)] = "",
    used_up: bool = False,
) -> Response:
    """Find coffee by name, origin, lot, mark or supplier."""
    found, more = desk.read(coffees, desk.settings, text.strip(), used_up=used_up)
    return desk.show(
        "coffee.html", text=text, used_up=used_up, found=found, more=more, bands=WORDS,
    )  # fmt: skip
