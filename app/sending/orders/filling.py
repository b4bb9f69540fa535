"""How far orders are filled: by the dispatches for them that were not voided."""

from collections import Counter
from collections.abc import Collection, Mapping

from sqlalchemy import ColumnElement, exists, func, select
from sqlmodel import Session, col

from app.ledger.cards import CardOut, Shelf, named
from app.ledger.tables import Unit
from app.packing.tables import Pack, Product
from app.sending.orders.tables import CustomerOrder, OrderCancellation, OrderLine
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import among
from app.shared.problems import FieldRefused, Refused

ORDERS = Shelf(
    "order", CustomerOrder, CardOut, key="code", folded="code", private=frozenset({"note"})
)


def sent_bags() -> ColumnElement[int]:
    """Add up in a statement what went out for a line of an order; returns do not re-open it."""
    return (
        select(func.coalesce(func.sum(col(DispatchLine.bags)), 0))
        .join(Dispatch, col(Dispatch.unit_id) == col(DispatchLine.dispatch_id))
        .join(Unit, col(Unit.id) == col(Dispatch.unit_id))
        .outerjoin(Pack, col(Pack.unit_id) == col(DispatchLine.pack_id))
        .outerjoin(Returned, col(Returned.unit_id) == col(DispatchLine.pack_id))
        .where(col(Dispatch.order_id) == col(OrderLine.order_id))
        .where(col(Unit.voided_entry_id).is_(None))
        .where(
            func.coalesce(col(Pack.product_id), col(Returned.product_id))
            == col(OrderLine.product_id)
        )
        .correlate(OrderLine)
        .scalar_subquery()
    )


def cancelled() -> ColumnElement[bool]:
    """Tell in a statement whether an order was cancelled."""
    return exists(
        select(col(OrderCancellation.order_id))
        .where(col(OrderCancellation.order_id) == col(CustomerOrder.id))
        .correlate(CustomerOrder)
    )


def unfilled() -> ColumnElement[bool]:
    """Tell in a statement whether bags of an order are still to go out."""
    return exists(
        select(col(OrderLine.order_id))
        .where(col(OrderLine.order_id) == col(CustomerOrder.id))
        .where(col(OrderLine.bags) > sent_bags())
        .correlate(CustomerOrder)
    )


def order_of(
    session: Session, code: str, customer: Customer, gone: Collection[int] = ()
) -> CustomerOrder:
    """Find the order that a dispatch is for; refuse another customer's and a cancelled one.

    Unless it was cancelled after a dispatch for it that is gone, since this one is in its place.
    """
    order = named(session, ORDERS, code, "#/order")
    if order.customer_id != customer.id:
        other = session.get_one(Customer, order.customer_id).name
        raise FieldRefused(
            "#/order", f"order {order.code} is of {other}, and this goes to {customer.name}"
        )
    ended = session.get(OrderCancellation, order.id)
    before = {session.get_one(Dispatch, dispatch_id).order_id for dispatch_id in gone}
    if ended is not None and order.id not in before:
        raise Refused(
            "order-state",
            f"Order {order.code} was cancelled: {ended.reason}.",
            order=order.code,
            state="cancelled",
        )
    return order


_LINES = select(
    col(OrderLine.product_id), col(Product.sku), col(OrderLine.bags), sent_bags().label("sent")
).join(Product, col(Product.id) == col(OrderLine.product_id))


def _sent_by(session: Session, order: CustomerOrder, dispatches: Collection[int]) -> Counter[int]:
    """Count by product the bags of dispatches that were for an order."""
    if not dispatches:
        return Counter()
    product = func.coalesce(col(Pack.product_id), col(Returned.product_id))
    rows = session.execute(
        select(product, func.sum(col(DispatchLine.bags)))
        .join(Dispatch, col(Dispatch.unit_id) == col(DispatchLine.dispatch_id))
        .outerjoin(Pack, col(Pack.unit_id) == col(DispatchLine.pack_id))
        .outerjoin(Returned, col(Returned.unit_id) == col(DispatchLine.pack_id))
        .where(col(Dispatch.order_id) == order.id)
        .where(among(session, col(Dispatch.unit_id), dispatches))
        .group_by(product)
    )
    return Counter({product_id: int(count) for product_id, count in rows})


def beyond_the_order(
    session: Session,
    order: CustomerOrder,
    bags: Mapping[tuple[int, str], int],
    gone: Collection[int] = (),
) -> list[str]:
    """Say where these bags, by product, are more than the order still wants.

    Dispatches that are gone, since another is booked in their place, do not count.
    """
    before = _sent_by(session, order, gone)
    rows = session.execute(_LINES.where(col(OrderLine.order_id) == order.id))
    wanted = {row.product_id: row for row in rows}
    said = []
    for (product_id, sku), count in bags.items():
        line = wanted.get(product_id)
        if line is None:
            said.append(f"order {order.code} wants no {sku}; {count} bags of it are sent")
        elif (sent := line.sent - before[product_id] + count) > line.bags:
            said.append(
                f"order {order.code} wants {line.bags} bags of {sku}; {sent} are sent with these"
            )
    return said
