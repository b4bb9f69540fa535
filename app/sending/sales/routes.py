"""Sales over the counter."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending.sales import actions, queries
from app.sending.sales.queries import SalesAsked
from app.sending.sales.schemas import SaleIn, SaleOut
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import Day

router = api_router("sending")

Seller = Annotated[Clerk, allowed(Permission.DISPATCH)]


@router.post("/sales", status_code=201, response_model=SaleOut, dependencies=[Keyed])
def sell(clerk: Seller, asked: SaleIn) -> Response:
    """Book the bags that went over a counter on a day."""
    return clerk.write(actions.sell, asked)


@router.get("/sales", response_model=Items[SaleOut])
def list_sales(  # noqa: PLR0917 - filters by name
    clerk: Reader,
    page: PageAsked,
    shop: Annotated[str | None, Query(max_length=200)] = None,
    pack: Annotated[Code | None, Query()] = None,
    since: Annotated[Day | None, Query(alias="from")] = None,
    until: Annotated[Day | None, Query(alias="to")] = None,
) -> Response:
    """List sales over the counter, oldest first, by shop, pack and days."""
    asked = SalesAsked(shop, pack, since, until)
    return page_answer(clerk.request, *clerk.read(queries.sale_page, page, asked))
