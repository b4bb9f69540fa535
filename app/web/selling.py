"""Sales over the counter: by day and lot, so that a recall knows on which days to ask."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.sending.sales.actions import sell
from app.sending.sales.queries import SalesAsked, sale_page
from app.sending.sales.schemas import SaleIn
from app.sending.tables import CustomerKind
from app.shared.days import today_here
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import loading
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (
    Task("/sales", N_("Sold over the counter"), Room.SENDING, Permission.DISPATCH, offline=True),
)

Seller = Annotated[Desk, may(Permission.DISPATCH)]

_SHOWN: Final = timedelta(days=7)
_MOST: Final = 100


class Counter(NamedTuple):
    """The shops there are, and what went over their counters of late."""

    shops: Sequence[tuple[str, str]]
    sales: Sequence[Mapping[str, Any]]
    more: bool


def _counter(session: Session) -> Counter:
    since = SalesAsked(since=today_here() - _SHOWN)
    sales, following = sale_page(session, Page(_MOST, 0), since)
    return Counter(
        loading.customers(session, CustomerKind.CONSUMERS), sales[::-1], following is not None
    )


def _page(desk: Desk, form: Form[SaleIn]) -> Response:
    return desk.show("sales.html", form, counter=desk.read(_counter))


@router.get("/sales")
def show_sales(desk: Seller) -> Response:
    """Ask which bags went over which counter on a day."""
    return _page(desk, desk.blank(SaleIn, sold_on=today_here()))


@router.post("/sales")
def book_sale(desk: Seller) -> Response:
    """Book the day, and keep its shop for the next."""
    form = desk.sent(SaleIn)
    if sold := desk.book(form, sell):
        bags = sum(line["bags"] for line in sold["lines"])
        told = ngettext(
            "%(number)s bag sold at %(shop)s is booked.",
            "%(number)s bags sold at %(shop)s are booked.",
            bags,
        )
        return desk.onward("/sales", told % {"number": bags, "shop": sold["shop"]})
    return _page(desk, form)
