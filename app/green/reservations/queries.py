"""Reading what of each lot is reserved, and what is left to promise."""

from collections.abc import Collection, Mapping
from typing import NamedTuple

from sqlalchemy import ColumnElement, and_, exists, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.reservations.tables import (
    Reservation,
    ReservationLot,
    ReservationRelease,
    ReservationUse,
)
from app.green.rules import Stock, stock_of
from app.green.tables import Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Unit
from app.shared.db import Among, AnySelect, OverIds, among

_maker = aliased(Unit)


def _is_open() -> ColumnElement[bool]:
    released = exists(
        select(col(ReservationRelease.reservation_id))
        .where(col(ReservationRelease.reservation_id) == col(ReservationLot.reservation_id))
        .correlate(ReservationLot)
    )
    used = exists(
        select(col(ReservationUse.unit_id))
        .join(_maker, col(_maker.id) == col(ReservationUse.unit_id))
        .where(col(ReservationUse.reservation_id) == col(ReservationLot.reservation_id))
        .where(col(_maker.voided_entry_id).is_(None))
        .correlate(ReservationLot)
    )
    return and_(~released, ~used)


OPEN = _is_open()
"""Tells in a statement over `reservation_lot` whether the reservation still counts."""

RESERVED_G = (
    select(func.coalesce(func.sum(col(ReservationLot.grams)), 0))
    .where(col(ReservationLot.lot_id) == col(Unit.id), OPEN)
    .correlate(Unit)
    .scalar_subquery()
)
"""What is promised of a lot, in a statement over `unit`."""


class Source(NamedTuple):
    """Where the green of a sack is from."""

    lot_id: int
    promised: bool
    """Whether anything of the lot is reserved."""


@OverIds
def _sources(among: Among) -> AnySelect:
    promised = (
        select(col(ReservationLot.lot_id))
        .where(col(ReservationLot.lot_id) == col(Sack.lot_id), OPEN)
        .correlate(Sack)
    )
    return select(col(Sack.unit_id), col(Sack.lot_id), exists(promised).label("promised")).where(
        among(col(Sack.unit_id))
    )


def sources_of(session: Session, sack_ids: Collection[int]) -> Mapping[int, Source]:
    """Tell of sacks which lots they are of, and whether any of those is promised."""
    return {
        row.unit_id: Source(row.lot_id, bool(row.promised))
        for row in _sources.rows(session, sack_ids)
    }


def reserved_of(session: Session, lot_ids: Collection[int]) -> Mapping[int, int]:
    """Add up what is promised of each lot."""
    rows = session.execute(
        select(col(ReservationLot.lot_id), func.sum(col(ReservationLot.grams)))
        .where(among(session, col(ReservationLot.lot_id), lot_ids), OPEN)
        .group_by(col(ReservationLot.lot_id))
    )
    return {lot_id: int(grams) for lot_id, grams in rows}


def stock_of_lots(session: Session, lot_ids: Collection[int]) -> Mapping[int, Stock]:
    """Say of each lot what is there, held, reserved and left to promise."""
    sacks: dict[int, list[tuple[int, bool]]] = {lot_id: [] for lot_id in lot_ids}
    rows = session.execute(
        select(col(Sack.lot_id), col(Unit.left_g), on_hold(col(Unit.id)))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .where(among(session, col(Sack.lot_id), lot_ids), col(Unit.left_g) > 0)
    )
    for lot_id, left_g, held in rows:
        sacks[lot_id].append((left_g, held))
    reserved = reserved_of(session, lot_ids)
    return {
        # A hold on the lot holds every sack of it, so the lot need not be asked.
        lot_id: stock_of(there, lot_held=False, reserved_g=reserved.get(lot_id, 0))
        for lot_id, there in sacks.items()
    }


class Eaten(NamedTuple):
    """What a draw took of a lot that was promised to something else."""

    lot: str
    grams: int
    purposes: list[str]


def eaten_into(session: Session, taken: Mapping[int, int]) -> list[Eaten]:
    """Say what of a draw, by lot and already booked, was promised to something else."""
    if not taken:
        return []
    short = {
        lot_id: min(stock.reserved_short_g, taken[lot_id])
        for lot_id, stock in stock_of_lots(session, list(taken)).items()
        if stock.reserved_short_g
    }
    return _whose(session, short) if short else []


def _whose(session: Session, short: Mapping[int, int]) -> list[Eaten]:
    rows = session.execute(
        select(col(ReservationLot.lot_id), col(Unit.code), col(Reservation.purpose))
        .join(Reservation, col(Reservation.id) == col(ReservationLot.reservation_id))
        .join(Unit, col(Unit.id) == col(ReservationLot.lot_id))
        .where(col(ReservationLot.lot_id).in_(list(short)), OPEN)
        .order_by(col(ReservationLot.lot_id), col(Reservation.id))
    )
    found: dict[int, Eaten] = {}
    for row in rows:
        lot = found.setdefault(row.lot_id, Eaten(row.code, short[row.lot_id], []))
        lot.purposes.append(row.purpose)
    return list(found.values())
