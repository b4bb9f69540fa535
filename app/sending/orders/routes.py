"""Orders of customers."""

from typing import Annotated

from fastapi import Depends, Query, Response

from app.ledger.cards import IfMatch, answer_card
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending.orders import actions, queries
from app.sending.orders.queries import Wanted
from app.sending.orders.schemas import (
    OrderCancelIn,
    OrderChange,
    OrderIn,
    OrderOut,
    OrderRow,
    State,
)
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import Day

router = api_router("orders")

OrderKeeper = Annotated[Clerk, allowed(Permission.ORDERS)]


async def _orders_asked(
    state: State | None = None,
    customer: Annotated[str | None, Query(max_length=200)] = None,
    due_from: Day | None = None,
    due_to: Day | None = None,
) -> Wanted:
    return Wanted(state, customer, due_from, due_to)


OrdersAsked = Annotated[Wanted, Depends(_orders_asked)]


@router.post("/orders", status_code=201, response_model=OrderOut, dependencies=[Keyed])
def add_order(clerk: OrderKeeper, asked: OrderIn) -> Response:
    """Enter what a customer wants by a day."""
    return clerk.write(actions.add_order, asked)


@router.get("/orders", response_model=Items[OrderRow])
def list_orders(clerk: Reader, page: PageAsked, wanted: OrdersAsked) -> Response:
    """List orders as they were entered, with what is open of each."""
    return page_answer(clerk.request, *clerk.read(queries.order_page, page, wanted))


@router.get("/orders/{code}", response_model=OrderOut)
def show_order(clerk: Reader, code: Code) -> Response:
    """Show an order: what is open, what went out, and the `ETag`.

    The `ETag` changes with every dispatch too; a change is held against the order alone.
    """
    return answer_card(clerk, clerk.read(queries.order, code))


@router.patch("/orders/{code}", response_model=OrderOut)
def change_order(
    clerk: OrderKeeper, code: Code, asked: OrderChange, if_match: IfMatch = None
) -> Response:
    """Change an open order; its code and customer stay."""
    return clerk.write(actions.change_order, code, asked, if_match)


@router.post(
    "/orders/{code}/cancel", status_code=201, response_model=OrderOut, dependencies=[Keyed]
)
def cancel_order(clerk: OrderKeeper, code: Code, asked: OrderCancelIn) -> Response:
    """End an order that is not to be filled any further."""
    return clerk.write(actions.cancel_order, code, asked)
