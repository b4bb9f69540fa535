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
from app.sending.tables import Customer, Dispatch
from app.shared.problems import FieldRefused, Refused


def refuse_ended(session: Session, number: int, gone: Collection[int] = ()) -> Pick:
    """Find a pick that was neither sent nor cancelled; one whose time has passed will do.

    So will one that was sent with a dispatch that is gone, since another is booked in its place.
    """
    pick = session.get(Pick, number)
    if pick is None:
        raise Refused("not-found", f"There is no pick {number}.")
    ended = session.get(PickEnd, number)
    if ended is None:
        return pick
    sent = sent_with(session, ended.dispatch_id) if ended.dispatch_id else None
    if sent is None or sent.id not in gone:
        how = f"was sent with {sent.code}" if sent else "was cancelled"
        raise Refused("already-done", f"Pick {number} {how}.", pick=number)
    return pick


def sent_with(session: Session, dispatch_id: int) -> Unit:
    """Name the dispatch that ended a pick, or the last that was booked in its place."""
    return newest(session, dispatch_id) or session.get_one(Unit, dispatch_id)


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
    session: Session,
    code: str | None,
    pick: Pick | None,
    customer: Customer,
    gone: Collection[int] = (),
) -> CustomerOrder | None:
    """Find the order that a dispatch is for: the one it names, else that of its pick.

    Else that of the dispatch which is gone, where this one goes to the same customer.
    """
    picked = pick.order_id if pick is not None else None
    if code is None and picked is not None:
        code = session.get_one(CustomerOrder, picked).code
    if code is None and gone:
        code = session.scalar(
            select(col(CustomerOrder.code))
            .join(Dispatch, col(Dispatch.order_id) == col(CustomerOrder.id))
            .where(col(Dispatch.unit_id).in_(gone), col(CustomerOrder.customer_id) == customer.id)
        )
    if code is None:
        return None
    order = order_of(session, code, customer, gone)
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
