"""What a pick is to be made for: bags of products, or what an order still wants."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import named
from app.packing.tables import Product
from app.sending.orders.filling import ORDERS
from app.sending.orders.queries import order_out
from app.sending.orders.schemas import OrderOut, WantedBags
from app.sending.orders.tables import CustomerOrder
from app.sending.picking.schemas import Wanted
from app.shared.problems import FieldRefused, Refused


class Asking(NamedTuple):
    """So many bags of products, and the order they are for."""

    bags: Mapping[int, int]
    """By the number of the product."""
    skus: Mapping[int, str]
    order: CustomerOrder | None = None

    def told(self) -> list[Wanted]:
        """Answer what was asked for."""
        return [
            Wanted(product=self.skus[product_id], bags=bags)
            for product_id, bags in self.bags.items()
        ]


def asking(session: Session, lines: Sequence[WantedBags] | None, order: str | None) -> Asking:
    """Find what is wanted.

    Raises:
        Refused: `unknown-reference`; `order-state` for an order that wants nothing any more.
    """
    if lines is not None:
        return _of_lines(session, lines)
    card = named(session, ORDERS, order or "", "#/order")
    return of_order(session, order_out(session, card.id or 0))._replace(order=card)


def of_order(session: Session, there: OrderOut) -> Asking:
    """Find what an order still wants; `order-state` where that is nothing."""
    still = [
        WantedBags(product=line.product, bags=line.open_bags)
        for line in there.lines
        if line.open_bags
    ]
    if not still:
        raise Refused(
            "order-state",
            f"Order {there.code} is {there.state}: it wants nothing any more.",
            order=there.code,
            state=there.state,
        )
    return _of_lines(session, still)


def _of_lines(session: Session, lines: Sequence[WantedBags]) -> Asking:
    found = {
        product.sku: product.id or 0
        for product in session.scalars(
            select(Product).where(col(Product.sku).in_([line.product for line in lines]))
        )
    }
    for place, line in enumerate(lines):
        if line.product not in found:
            raise FieldRefused(
                f"#/lines/{place}/product",
                f"there is no product {line.product}: enter it first",
                "unknown-reference",
            )
    return Asking(
        {found[line.product]: line.bags for line in lines},
        {found[line.product]: line.product for line in lines},
    )
