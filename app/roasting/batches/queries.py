"""Reading planned batches."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, and_, bindparam, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.reservations.tables import ReservationLot, ReservationRelease, ReservationUse
from app.ledger.tables import Entry, Unit
from app.roasting.batches.schemas import BatchOut, BatchState, GreenOut
from app.roasting.batches.tables import PlannedBatch
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused

_roast = aliased(Unit)
_live_use = (
    select(col(ReservationUse.reservation_id), col(_roast.code).label("roast"))
    .join(_roast, col(_roast.id) == col(ReservationUse.unit_id))
    .where(col(_roast.voided_entry_id).is_(None))
    .subquery()
)
"""What still counts of what was made with reservations."""

_BATCHES = (
    select(
        col(PlannedBatch.id),
        col(PlannedBatch.planned_for),
        col(PlannedBatch.charge_g),
        col(PlannedBatch.reservation_id),
        col(PlannedBatch.style_id),
        col(Style.name).label("style"),
        col(Machine.code).label("machine"),
        _live_use.c.roast,
        col(ReservationRelease.reason),
        col(Entry.recorded_at),
        col(Entry.who),
    )
    .join(Style, col(Style.id) == col(PlannedBatch.style_id))
    .join(Entry, col(Entry.id) == col(PlannedBatch.entry_id))
    .outerjoin(Machine, col(Machine.id) == col(PlannedBatch.machine_id))
    .outerjoin(_live_use, _live_use.c.reservation_id == col(PlannedBatch.reservation_id))
    .outerjoin(
        ReservationRelease,
        col(ReservationRelease.reservation_id) == col(PlannedBatch.reservation_id),
    )
)
_PLANNED = and_(_live_use.c.roast.is_(None), col(ReservationRelease.reason).is_(None))
_ONE = _BATCHES.where(col(PlannedBatch.id) == bindparam("number"))
_OF_ROAST = (
    select(col(PlannedBatch.id))
    .join(ReservationUse, col(ReservationUse.reservation_id) == col(PlannedBatch.reservation_id))
    .where(col(ReservationUse.unit_id) == bindparam("roast"))
)


class Wanted(NamedTuple):
    """Which batches a list is to show; None asks for nothing."""

    state: BatchState | None
    first: date | None
    last: date | None


def batch_row(session: Session, number: int) -> Any:  # noqa: ANN401 - a row of `_BATCHES`
    """Find a planned batch, or None."""
    return session.execute(_ONE, {"number": number}).first()


def batch_of_roast(session: Session, roast_id: int) -> int | None:
    """Name the planned batch that a roast was made of."""
    return session.scalar(_OF_ROAST, {"roast": roast_id})


def batch(session: Session, number: int) -> BatchOut:
    """Read one planned batch."""
    row = batch_row(session, number)
    if row is None:
        raise Refused("not-found", f"There is no planned batch {number}.")
    return _shown(session, [row])[0]


def batches(session: Session, numbers: Collection[int]) -> list[BatchOut]:
    """Read planned batches by their numbers, the lowest first."""
    rows = session.execute(
        _BATCHES.where(among(session, col(PlannedBatch.id), numbers)).order_by(col(PlannedBatch.id))
    ).all()
    return _shown(session, rows)


def batch_page(session: Session, page: Page, wanted: Wanted) -> PageOf:
    """Read batches in the order they were planned."""
    statement: AnySelect = _BATCHES
    if wanted.state == "planned":
        statement = statement.where(_PLANNED)
    elif wanted.state == "roasted":
        statement = statement.where(_live_use.c.roast.is_not(None))
    elif wanted.state == "cancelled":
        statement = statement.where(col(ReservationRelease.reason).is_not(None))
    if wanted.first is not None:
        statement = statement.where(col(PlannedBatch.planned_for) >= wanted.first)
    if wanted.last is not None:
        statement = statement.where(col(PlannedBatch.planned_for) <= wanted.last)
    rows, following = turn_page(session, statement, col(PlannedBatch.id), page)
    return [each.model_dump(by_alias=True) for each in _shown(session, rows)], following


def next_planned(session: Session, most: int) -> Sequence[Mapping[str, object]]:
    """Read the batches that are planned and not roasted, the earliest day first."""
    days = (col(PlannedBatch.planned_for), col(PlannedBatch.id))
    rows = session.execute(_BATCHES.where(_PLANNED).order_by(*days).limit(most)).all()
    return [each.model_dump(by_alias=True) for each in _shown(session, rows)]


def still_planned(last: date | ColumnElement[date]) -> AnySelect:
    """Select the batches that are planned until a day and not roasted yet."""
    return _BATCHES.where(_PLANNED, col(PlannedBatch.planned_for) <= last)


def charges_to_come(session: Session, last: date) -> Mapping[int, list[int]]:
    """Name the charges by style that are planned until a day and not roasted yet."""
    found: dict[int, list[int]] = {}
    for row in session.execute(still_planned(last)):
        found.setdefault(row.style_id, []).append(row.charge_g)
    return found


def state_of(row: Any) -> BatchState:  # noqa: ANN401 - a row of `_BATCHES`
    """Say whether a batch is still to be roasted."""
    if row.roast is not None:
        return "roasted"
    return "planned" if row.reason is None else "cancelled"


def _shown(session: Session, rows: Collection[Any]) -> list[BatchOut]:
    green: dict[int, list[GreenOut]] = {}
    for reservation_id, code, grams in session.execute(
        select(col(ReservationLot.reservation_id), col(Unit.code), col(ReservationLot.grams))
        .join(Unit, col(Unit.id) == col(ReservationLot.lot_id))
        .where(among(session, col(ReservationLot.reservation_id), [r.reservation_id for r in rows]))
        .order_by(col(Unit.id))
    ):
        green.setdefault(reservation_id, []).append(GreenOut(lot=code, grams=grams))
    return [
        BatchOut(
            id=row.id,
            on=row.planned_for,
            style=row.style,
            machine=row.machine,
            charge_g=row.charge_g,
            green=green.get(row.reservation_id, []),
            state=state_of(row),
            roast=row.roast,
            cancelled_reason=row.reason,
            planned_at=row.recorded_at,
            planned_by=row.who,
        )
        for row in rows
    ]
