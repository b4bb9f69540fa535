"""Standing orders."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.cards import IfMatch, answer_card, card_at
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending.actions import CUSTOMERS
from app.sending.orders.schemas import OrderOut
from app.sending.standing import actions, queries
from app.sending.standing.schemas import (
    CallIn,
    StandingChange,
    StandingDates,
    StandingIn,
    StandingOut,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.periods import FourWeeksAsked
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("orders")

OrderKeeper = Annotated[Clerk, allowed(Permission.ORDERS)]


@router.post("/standing-orders", status_code=201, response_model=StandingOut, dependencies=[Keyed])
def add_standing_order(clerk: OrderKeeper, asked: StandingIn) -> Response:
    """Enter what a customer wants again and again."""
    return clerk.write(actions.add_standing_order, asked)


@router.get("/standing-orders", response_model=Items[StandingOut])
def list_standing_orders(
    clerk: Reader,
    page: PageAsked,
    customer: Annotated[str | None, Query(max_length=200)] = None,
) -> Response:
    """List standing orders as they were entered, of one customer or of all."""
    known = customer and clerk.read(card_at, CUSTOMERS, customer)
    found = clerk.read(queries.standing_page, page, known.id if known else None)
    return page_answer(clerk.request, *found)


@router.get("/standing-orders/{code}", response_model=StandingOut)
def show_standing_order(clerk: Reader, code: Code) -> Response:
    """Show a standing order, with the `ETag` a change needs."""
    return answer_card(clerk, clerk.read(queries.standing_order, code))


@router.patch("/standing-orders/{code}", response_model=StandingOut)
def change_standing_order(
    clerk: OrderKeeper, code: Code, asked: StandingChange, if_match: IfMatch = None
) -> Response:
    """Change a standing order; orders that were called off it stay as they are."""
    return clerk.write(actions.change_standing_order, code, asked, if_match)


@router.get("/standing-orders/{code}/dates", response_model=StandingDates)
def list_standing_dates(clerk: Reader, code: Code, period: FourWeeksAsked) -> Response:
    """Name the dates it falls on, four weeks from today unless said, and their orders."""
    return Answer(clerk.read(queries.dates, code, *period))


@router.post(
    "/standing-orders/{code}/orders", status_code=201, response_model=OrderOut,
    dependencies=[Keyed],
)  # fmt: skip
def call_off(clerk: OrderKeeper, code: Code, asked: CallIn) -> Response:
    """Make the order of one of its dates; each date once."""
    return clerk.write(actions.call_off, code, asked)
