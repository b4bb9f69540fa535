"""Reading orders of customers: what is open, what went out."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.tables import Unit
from app.packing.tables import Product
from app.sending.actions import CUSTOMERS
from app.sending.orders.filling import ORDERS, cancelled, sent_bags, unfilled
from app.sending.orders.schemas import OrderedBags, OrderOut, OrderRow, State
from app.sending.orders.tables import (
    CustomerOrder,
    OrderCancellation,
    OrderLine,
    StandingOrder,
)
from app.sending.tables import Customer, Dispatch
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused


class Wanted(NamedTuple):
    """Which orders a list is to show; None asks for nothing."""

    state: State | None
    customer: str | None
    due_from: date | None
    due_to: date | None


@cache
def _orders() -> AnySelect:
    return (
        select(
            col(CustomerOrder.id),
            CustomerOrder,
            col(Customer.name).label("customer"),
            col(StandingOrder.code).label("standing_order"),
            col(OrderCancellation.reason).label("cancelled_reason"),
        )
        .join(Customer, col(Customer.id) == col(CustomerOrder.customer_id))
        .outerjoin(StandingOrder, col(StandingOrder.id) == col(CustomerOrder.standing_order_id))
        .outerjoin(OrderCancellation, col(OrderCancellation.order_id) == col(CustomerOrder.id))
    )


def order(session: Session, code: str) -> OrderOut:
    """Read one order with what went out for it."""
    row = session.execute(_orders().where(col(CustomerOrder.code) == ORDERS.fold(code))).first()
    if row is None:
        raise Refused("not-found", f"There is no {ORDERS.noun} {code}.")
    return _order_out(session, row)


def order_out(session: Session, order_id: int) -> OrderOut:
    """Answer an order in full."""
    return _order_out(
        session, session.execute(_orders().where(col(CustomerOrder.id) == order_id)).one()
    )


def _order_out(session: Session, row: Any) -> OrderOut:  # noqa: ANN401 - a row of `_orders`
    dispatches = session.scalars(
        select(col(Unit.code))
        .join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .where(col(Dispatch.order_id) == row.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    found = _row(row, _lines(session, [row.id]).get(row.id, []))
    return OrderOut(**dict(found), dispatches=list(dispatches))


def order_page(session: Session, page: Page, wanted: Wanted) -> PageOf:
    """Read orders in the order they were entered."""
    statement = _wanted(session, wanted)
    rows, following = turn_page(session, statement, col(CustomerOrder.id), page)
    return _page_rows(session, rows), following


def orders_by_day(session: Session, most: int, wanted: Wanted) -> Sequence[Mapping[str, object]]:
    """Read orders by the day they are due: of open ones the earliest, of others the latest."""
    days = (col(CustomerOrder.due_on), col(CustomerOrder.id))
    order = days if wanted.state == "open" else [each.desc() for each in days]
    statement = _wanted(session, wanted).order_by(*order).limit(most)
    return _page_rows(session, session.execute(statement).all())


def _wanted(session: Session, wanted: Wanted) -> AnySelect:
    statement = _orders()
    if wanted.state == "cancelled":
        statement = statement.where(cancelled())
    elif wanted.state is not None:
        filled = unfilled() if wanted.state == "open" else ~unfilled()
        statement = statement.where(~cancelled(), filled)
    if wanted.customer is not None:
        found = card_at(session, CUSTOMERS, wanted.customer)
        statement = statement.where(col(CustomerOrder.customer_id) == found.id)
    if wanted.due_from is not None:
        statement = statement.where(col(CustomerOrder.due_on) >= wanted.due_from)
    if wanted.due_to is not None:
        statement = statement.where(col(CustomerOrder.due_on) <= wanted.due_to)
    return statement


def _page_rows(session: Session, rows: Sequence[Any]) -> Sequence[Mapping[str, object]]:
    lines = _lines(session, [row.id for row in rows])
    return [_row(row, lines.get(row.id, [])).model_dump(by_alias=True) for row in rows]


def _lines(session: Session, order_ids: Collection[int]) -> Mapping[int, list[OrderedBags]]:
    rows = session.execute(
        select(
            col(OrderLine.order_id), col(Product.sku), col(OrderLine.bags),
            sent_bags().label("sent"),
        )
        .join(Product, col(Product.id) == col(OrderLine.product_id))
        .where(col(OrderLine.order_id).in_(order_ids))
        .order_by(col(OrderLine.order_id), col(Product.sku))
    )  # fmt: skip
    found: dict[int, list[OrderedBags]] = {}
    for row in rows:
        found.setdefault(row.order_id, []).append(OrderedBags(
            product=row.sku, bags=row.bags, sent_bags=row.sent,
            open_bags=max(row.bags - row.sent, 0),
        ))  # fmt: skip
    return found


def _row(row: Any, lines: list[OrderedBags]) -> OrderRow:  # noqa: ANN401 - a row of `_orders`
    card: CustomerOrder = row.CustomerOrder
    assert card.id is not None  # noqa: S101 - read from the database
    state: State = "open" if any(line.open_bags for line in lines) else "sent"
    if row.cancelled_reason is not None:
        state = "cancelled"
        lines = [line.model_copy(update={"open_bags": 0}) for line in lines]
    return OrderRow(
        id=card.id, version=card.version, code=card.code, customer=row.customer,
        reference=card.reference, due_on=card.due_on, state=state, lines=lines, note=card.note,
        standing_order=row.standing_order, called_for=card.called_for,
        cancelled_reason=row.cancelled_reason,
    )  # fmt: skip


def open_orders(last: ColumnElement[date]) -> AnySelect:
    """Select the orders due until a day that still want something."""
    return (
        select(
            col(CustomerOrder.id), col(CustomerOrder.code), col(Customer.name),
            col(CustomerOrder.due_on),
        )
        .join(Customer, col(Customer.id) == col(CustomerOrder.customer_id))
        .where(col(CustomerOrder.due_on) <= last, ~cancelled(), unfilled())
    )  # fmt: skip


class OpenLine(NamedTuple):
    """Bags of a product that an order still wants."""

    order: str
    customer: str
    due_on: date
    sku: str
    bags: int


def open_lines(session: Session, last: date) -> list[OpenLine]:
    """Read what orders due until a day still want, the earliest due first."""
    rows = session.execute(
        select(
            col(CustomerOrder.code), col(Customer.name), col(CustomerOrder.due_on),
            col(Product.sku), col(OrderLine.bags), sent_bags().label("sent"),
        )
        .join(CustomerOrder, col(CustomerOrder.id) == col(OrderLine.order_id))
        .join(Customer, col(Customer.id) == col(CustomerOrder.customer_id))
        .join(Product, col(Product.id) == col(OrderLine.product_id))
        .where(col(CustomerOrder.due_on) <= last, ~cancelled())
        .where(col(OrderLine.bags) > sent_bags())
        .order_by(col(CustomerOrder.due_on), col(CustomerOrder.id), col(Product.sku))
    )  # fmt: skip
    return [OpenLine(row.code, row.name, row.due_on, row.sku, row.bags - row.sent) for row in rows]
