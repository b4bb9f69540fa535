"""Customers, dispatches and returns."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending import actions, queries
from app.sending.actions import CUSTOMERS
from app.sending.schemas import (
    CustomerChange,
    CustomerIn,
    CustomerOut,
    DispatchIn,
    DispatchLineOut,
    DispatchOut,
    ReturnIn,
    ReturnLineOut,
    ReturnOut,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("sending")

CustomerKeeper = Annotated[Clerk, allowed(Permission.CUSTOMERS)]
Sender = Annotated[Clerk, allowed(Permission.DISPATCH)]
TakerBack = Annotated[Clerk, allowed(Permission.RETURN)]


@router.post("/customers", status_code=201, response_model=CustomerOut, dependencies=[Keyed])
def add_customer(clerk: CustomerKeeper, asked: CustomerIn) -> Response:
    """Enter somebody coffee goes to."""
    return clerk.write(cards.add, CUSTOMERS, asked)


@router.get("/customers", response_model=Items[CustomerOut])
def list_customers(clerk: Reader, page: PageAsked) -> Response:
    """List customers."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, CUSTOMERS, page))


@router.get("/customers/{name}", response_model=CustomerOut)
def show_customer(clerk: Reader, name: str) -> Response:
    """Show a customer by name or number, with the `ETag` a change needs."""
    return cards.show(clerk, CUSTOMERS, name)


@router.patch("/customers/{name}", response_model=CustomerOut)
def change_customer(
    clerk: CustomerKeeper, name: str, asked: CustomerChange, if_match: IfMatch = None
) -> Response:
    """Change a customer."""
    return clerk.write(cards.change, CUSTOMERS, name, asked, if_match)


@router.post("/dispatches", status_code=201, response_model=DispatchOut, dependencies=[Keyed])
def dispatch(clerk: Sender, asked: DispatchIn) -> Response:
    """Send bags to a customer."""
    return clerk.write(actions.dispatch, asked)


@router.get("/dispatches", response_model=Items[DispatchLineOut])
def list_dispatches(
    clerk: Reader, page: PageAsked, customer: Annotated[str | None, Query(max_length=200)] = None
) -> Response:
    """List dispatches, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.dispatch_page, page, customer))


@router.get("/dispatches/{code}", response_model=DispatchOut)
def show_dispatch(clerk: Reader, code: Code) -> Response:
    """Show a dispatch with its lines and what came back of them."""
    return Answer(clerk.read(queries.dispatch, code))


@router.post("/returns", status_code=201, response_model=ReturnOut, dependencies=[Keyed])
def take_back(clerk: TakerBack, asked: ReturnIn) -> Response:
    """Take bags back from a customer; they start on hold."""
    return clerk.write(actions.take_back, asked)


@router.get("/returns", response_model=Items[ReturnLineOut])
def list_returns(
    clerk: Reader, page: PageAsked, dispatch: Annotated[Code | None, Query()] = None
) -> Response:
    """List what came back, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.return_page, page, dispatch))
