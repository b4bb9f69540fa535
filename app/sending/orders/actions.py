"""Entering, changing and cancelling orders of customers."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import delete
from sqlmodel import Session, col

from app.ledger.cards import card_at, enter, named, revise
from app.ledger.posting import Pen
from app.packing.actions import PRODUCTS
from app.packing.tables import Product
from app.sending.actions import CUSTOMERS
from app.sending.orders.filling import ORDERS
from app.sending.orders.queries import order_out
from app.sending.orders.schemas import (
    OrderCancelIn,
    OrderChange,
    OrderedBags,
    OrderIn,
    OrderOut,
    WantedBags,
)
from app.sending.orders.tables import CustomerOrder, OrderCancellation, OrderLine
from app.sending.tables import Customer, CustomerKind
from app.shared.codes import issue
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused
from app.shared.versions import card_tags, require_match

ORDER_LETTER = "O"


def add_order(pen: Pen, asked: OrderIn) -> OrderOut:
    """Enter what a customer wants by a day."""
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    refuse_counter(customer)
    return enter_order(pen, asked, {"customer_id": customer.id})


def refuse_counter(customer: Customer) -> None:
    """Refuse an order of a counter: nothing is dispatched to it, so it would stay open."""
    if customer.kind == CustomerKind.CONSUMERS:
        raise FieldRefused(
            "#/customer",
            f"{customer.name} sells to consumers: what goes over the counter is no order",
        )


def enter_order(pen: Pen, asked: OrderIn, known: Mapping[str, object]) -> OrderOut:
    """Enter an order whose customer, and standing order where it has one, are known by number."""
    products = products_of(pen.session, asked.lines)
    number = next_number(pen.session, col(CustomerOrder.id))
    code = asked.code or issue(ORDER_LETTER, number)
    facts = asked.model_dump(include={"reference", "due_on", "note"})
    asked = asked.model_copy(update={"code": code})
    card = enter(pen, ORDERS, asked, {"id": number, "code": code, **facts, **known})
    assert card.id is not None  # noqa: S101 - flushed
    _write_lines(pen, card.id, asked.lines, products)
    return order_out(pen.session, card.id)


def products_of(session: Session, lines: Sequence[WantedBags]) -> Mapping[str, Product]:
    """Find the products that lines name, or point at the line that names none."""
    return {
        line.product: named(session, PRODUCTS, line.product, f"#/lines/{i}/product")
        for i, line in enumerate(lines)
    }


def _write_lines(
    pen: Pen, order_id: int, lines: Sequence[WantedBags], products: Mapping[str, Product]
) -> None:
    pen.write(OrderLine, [
        {"order_id": order_id, "product_id": products[line.product].id, "bags": line.bags}
        for line in lines
    ])  # fmt: skip


def change_order(pen: Pen, code: str, asked: OrderChange, if_match: str | None) -> OrderOut:
    """Change an open order; nothing can be wanted less than went out already."""
    tags = card_tags(if_match)
    card = card_at(pen.session, ORDERS, code)
    require_match(tags, card.version)
    assert card.id is not None  # noqa: S101 - read from the database
    there = order_out(pen.session, card.id)
    _refuse_ended(there)
    if asked.lines is not None:
        _refuse_fewer_than_sent(there.lines, asked.lines)
        products = products_of(pen.session, asked.lines)
    revise(pen, ORDERS, code, asked, tags, settle=_without_lines)
    if asked.lines is not None:
        pen.session.execute(delete(OrderLine).where(col(OrderLine.order_id) == card.id))
        _write_lines(pen, card.id, asked.lines, products)
    pen.session.flush()  # what is answered is read from the database
    return order_out(pen.session, card.id)


def _without_lines(_: CustomerOrder, changes: dict[str, Any]) -> dict[str, Any]:
    """Keep to the fields of the card: lines stand in a table of their own."""
    return {name: value for name, value in changes.items() if name != "lines"}


def _refuse_ended(order: OrderOut) -> None:
    if order.state != "open":
        why = f": {order.cancelled_reason}" if order.cancelled_reason else ""
        raise Refused(
            "order-state",
            f"Order {order.code} is {order.state}{why}.",
            order=order.code,
            state=order.state,
        )


def _refuse_fewer_than_sent(there: Sequence[OrderedBags], asked: Sequence[WantedBags]) -> None:
    wanted = {line.product: (i, line.bags) for i, line in enumerate(asked)}
    for line in there:
        i, bags = wanted.get(line.product, (None, 0))
        # More may have gone out than was ordered; a line that is left as it was stays as it was.
        if bags < min(line.sent_bags, line.bags):
            raise FieldRefused(
                "#/lines" if i is None else f"#/lines/{i}/bags",
                f"{line.sent_bags} bags of {line.product} went out already; {bags} are wanted",
            )


def cancel_order(pen: Pen, code: str, asked: OrderCancelIn) -> OrderOut:
    """End an order that is not to be filled any further, with the reason."""
    card = card_at(pen.session, ORDERS, code)
    assert card.id is not None  # noqa: S101 - read from the database
    _refuse_ended(order_out(pen.session, card.id))
    entry_id = pen.note("order cancelled", {"order": card.code, **asked.model_dump(mode="json")})
    pen.write(OrderCancellation, [
        {"order_id": card.id, "reason": asked.reason, "entry_id": entry_id},
    ])  # fmt: skip
    return order_out(pen.session, card.id)
