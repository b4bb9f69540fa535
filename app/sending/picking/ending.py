"""The end of a pick by the dispatch that names it."""

from collections.abc import Collection

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.corrections.queries import newest
from app.ledger.posting import Pen
from app.ledger.tables import Unit
from app.sending.orders.filling import order_of
from app.sending.orders.tables import CustomerOrder
from app.sending.picking.tables import Pick, PickEnd
from app.sending.tables import Customer
from app.shared.problems import FieldRefused, Refused


def refuse_ended(session: Session, number: int, gone: Collection[int] = ()) -> Pick:
    """Find a pick that was neither sent nor cancelled; one whose time has passed will do.

    So will one that was sent with a dispatch that is gone, since another is booked in its place.
    """
    pick = session.get(Pick, number)
    if pick is None:
        raise Refused("not-found", f"There is no pick {number}.")
    ended = session.execute(
        select(col(PickEnd.dispatch_id), col(Unit.code))
        .outerjoin(Unit, col(Unit.id) == col(PickEnd.dispatch_id))
        .where(col(PickEnd.pick_id) == number)
    ).first()
    if ended is not None and not _is_gone(session, ended.dispatch_id, gone):
        how = f"was sent with {ended.code}" if ended.code else "was cancelled"
        raise Refused("already-done", f"Pick {number} {how}.", pick=number)
    return pick


def _is_gone(session: Session, dispatch_id: int | None, gone: Collection[int]) -> bool:
    """Tell whether a dispatch, or the last of those booked in its place, is about to be gone."""
    if dispatch_id is None or not gone:
        return False
    by = newest(session, dispatch_id)
    return dispatch_id in gone or (by is not None and by.id in gone)


def pick_for(
    session: Session, number: int | None, customer: Customer, gone: Collection[int] = ()
) -> Pick | None:
    """Find the pick that a dispatch names, which is for nobody else."""
    if number is None:
        return None
    if session.get(Pick, number) is None:
        raise FieldRefused("#/pick", f"there is no pick {number}", "unknown-reference")
    pick = refuse_ended(session, number, gone)
    if pick.customer_id not in {None, customer.id}:
        raise FieldRefused("#/pick", f"pick {number} is for another customer")
    return pick


def order_for(
    session: Session, code: str | None, pick: Pick | None, customer: Customer
) -> CustomerOrder | None:
    """Find the order that a dispatch is for: the one it names, else that of its pick."""
    picked = pick.order_id if pick is not None else None
    if code is None and picked is not None:
        code = session.get_one(CustomerOrder, picked).code
    if code is None:
        return None
    order = order_of(session, code, customer)
    if picked is not None and order.id != picked:
        raise FieldRefused("#/pick", f"that pick is for another order than {order.code}")
    return order


def end_by(pen: Pen, pick: Pick | None, dispatch_id: int, entry_id: int) -> None:
    """End a pick as part of the entry of its dispatch, unless the one it replaces did."""
    if pick is not None and pen.session.get(PickEnd, pick.id) is None:
        pen.write(PickEnd, [
            {"pick_id": pick.id, "dispatch_id": dispatch_id, "reason": None,
             "entry_id": entry_id},
        ])  # fmt: skip
