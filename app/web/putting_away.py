"""The task of putting away: what came and stands at no place yet, and where the rest of it is."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Final, NamedTuple

from fastapi import Response
from sqlalchemy import ColumnElement, case, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit, UnitKind
from app.places import actions
from app.places.schemas import MoveIn
from app.places.tables import Location, Move
from app.shared.codes import fold
from app.shared.db import AnySelect, among
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.moving import told
from app.web.offers import Offer, left
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_

router = page_router()

TASKS = (Task("/put-away", N_("Put away"), Room.STORE, Permission.MOVE, offline=True),)
OFFERS = (
    Offer(
        "/put-away?sacks={code}", N_("Put it away"), Permission.MOVE, frozenset({UnitKind.SACK}),
        fits=lambda unit: left(unit) and unit.place is None,
        likely=frozenset({UnitKind.SACK}),
    ),
)  # fmt: skip

Mover = Annotated[Desk, may(Permission.MOVE)]

_MOST_LOTS: Final = 50
_MOST_SACKS: Final = 5000


class Waiting(NamedTuple):
    """Sacks of a lot that wait for a place."""

    lot: str
    name: str
    sacks: int
    grams: int
    came_at: datetime
    held: int
    """How many of them are on hold."""
    last_at: str | None
    """Where most of its other sacks stand."""


def _homeless() -> ColumnElement[bool]:
    """Tell of a sack whether it stands nowhere, or at a place of which others are part."""
    part = aliased(Location)
    divided = select(col(part.parent_id)).where(col(part.parent_id).is_not(None))
    return or_(col(Unit.location_id).is_(None), col(Unit.location_id).in_(divided))


def lots_waiting() -> AnySelect:
    """Add up by lot the sacks that wait for a place."""
    lot = aliased(Unit)
    sacks = (
        select(col(Sack.lot_id), col(Unit.left_g), on_hold(col(Unit.id)).label("held"))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Unit.left_g) > 0, _homeless())
        .subquery()
    )
    return (
        select(
            col(lot.id),
            col(lot.code),
            col(GreenLot.name),
            func.count().label("sacks"),
            func.sum(sacks.c.left_g).label("grams"),
            func.sum(case((sacks.c.held, 1), else_=0)).label("held"),
            col(Entry.happened_at),
        )
        .join(GreenLot, col(GreenLot.unit_id) == sacks.c.lot_id)
        .join(lot, col(lot.id) == sacks.c.lot_id)
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .group_by(col(lot.id), col(lot.code), col(GreenLot.name), col(Entry.happened_at))
    )


def waiting(session: Session) -> Sequence[Waiting]:
    """Name the lots with sacks that wait for a place, and where most of the others stand."""
    newest_first = sorted(session.execute(lots_waiting()), key=lambda row: -row.id)
    last = _where_most_stand(session, [row.id for row in newest_first])
    return [
        Waiting(
            row.code, row.name, row.sacks, int(row.grams), row.happened_at, int(row.held),
            last.get(row.id),
        )
        for row in newest_first
    ]  # fmt: skip


def _where_most_stand(session: Session, lot_ids: Sequence[int]) -> dict[int, str]:
    rows = session.execute(
        select(col(Sack.lot_id), col(Location.code), func.count().label("sacks"))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .join(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Sack.lot_id), lot_ids), col(Unit.left_g) > 0, ~_homeless())
        .group_by(col(Sack.lot_id), col(Location.code))
    ).all()
    fewest_first = sorted(rows, key=lambda row: (row.sacks, row.code))
    return {row.lot_id: row.code for row in fewest_first}


def _last_used(session: Session) -> str | None:
    """Name the place that something was put at last."""
    return session.scalar(
        select(col(Location.code))
        .join(Move, col(Move.to_id) == col(Location.id))
        .order_by(col(Move.id).desc())
        .limit(1)
    )


def _sacks_waiting(session: Session, lot: str) -> list[str]:
    """Name the sacks of a lot that wait, in the order of their numbers."""
    unit = aliased(Unit)
    rows = session.scalars(
        select(col(Unit.code))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(unit, col(unit.id) == col(Sack.lot_id))
        .where(col(unit.code) == lot, col(Unit.left_g) > 0, _homeless())
        .order_by(col(Sack.number))
        .limit(_MOST_SACKS)
    )
    return list(rows)


def _all_waiting(session: Session) -> tuple[Sequence[Waiting], str | None]:
    return waiting(session), _last_used(session)


def _page(desk: Desk, form: Form[MoveIn]) -> Response:
    lots, last_used = desk.read(_all_waiting)
    return desk.show("put_away.html", form, lots=lots[:_MOST_LOTS], more=len(lots) - _MOST_LOTS,
                     last_used=last_used)  # fmt: skip


@router.get("/put-away")
def show_put_away(desk: Mover, of: str | None = None) -> Response:
    """Show what waits for a place; `of` a lot takes all of its sacks that do."""
    form = desk.blank(MoveIn)
    form.typed = {name: values for name, values in form.typed.items() if name != "of"}
    if of is not None and not form.value("sacks"):
        form.typed = {**form.typed, "sacks": desk.read(_sacks_waiting, str(fold(of)))}
    return _page(desk, form)


@router.post("/put-away")
def put_away(desk: Mover) -> Response:
    """Book where the sacks stand now, and go on with the same place."""
    form = desk.sent(MoveIn)
    if moved := desk.book(form, actions.move):
        return desk.onward(f"/put-away?to={moved['to']}", told(moved))
    return _page(desk, form)
