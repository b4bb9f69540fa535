"""Orders of customers: entered, changed while they are open, and seen with what went out."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlmodel import Session, col, select

from app.packing.tables import Product
from app.sending.orders import actions, queries
from app.sending.orders.schemas import OrderChange, OrderIn, OrderOut, State
from app.sending.tables import CustomerKind
from app.shared.codes import Code
from app.shared.days import today_here
from app.shared.staff import Permission
from app.web import cards, loading
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/orders", N_("Orders"), Room.SENDING, Permission.ORDERS),)

Keeper = Annotated[Desk, may(Permission.ORDERS)]

STATES: Final[Mapping[State, str]] = {
    "open": N_("open"), "sent": N_("sent"), "cancelled": N_("cancelled"),
}  # fmt: skip
_MOST: Final = 200
LINES: Final = {"lines": ("product", "bags")}
"""The rows of an order."""


class Choices(NamedTuple):
    """Who can order what."""

    customers: Sequence[tuple[str, str]]
    products: Sequence[tuple[str, str]]


def choices(session: Session) -> Choices:
    """Name the customers and products of which an order can be made."""
    found = session.exec(select(Product.sku, Product.name).order_by(col(Product.sku)))
    return Choices(
        loading.customers(session, CustomerKind.BUSINESS),
        [(sku, f"{sku}: {name}") for sku, name in found],
    )


@router.get("/orders")
def list_orders(desk: Visiting, state: Annotated[State, Query()] = "open") -> Response:
    """List orders by the day they are due, the earliest open ones first, else the latest."""
    rows = desk.read(queries.orders_by_day, _MOST + 1, queries.Wanted(state, None, None, None))
    return desk.show(
        "orders.html", rows=rows[:_MOST], more=len(rows) > _MOST, state=state, states=STATES,
        today=today_here().isoformat(),
    )  # fmt: skip


@router.get("/orders/new")
def show_new(desk: Keeper) -> Response:
    """Ask who wants what by when."""
    return _ask(desk, desk.blank(OrderIn))


@router.post("/orders/new")
def enter(desk: Keeper) -> Response:
    """Enter the order."""
    form = desk.sent(OrderIn)
    if made := desk.book(form, actions.add_order):
        told = _("Order %(code)s of %(customer)s is entered.") % made
        return desk.onward(f"/orders/{made['code']}", told)
    return _ask(desk, form)


def _ask(desk: Desk, form: Form[Any]) -> Response:
    return desk.show("order_new.html", form, offered=desk.read(choices))


@router.get("/orders/{code}")
def show_order(desk: Visiting, code: Code) -> Response:
    """Show what is wanted and what went out, to be changed while it is open."""
    order = desk.read(queries.order, code)
    return _page(desk, cards.opened(order, OrderChange, LINES), order)


@router.post("/orders/{code}")
def change(desk: Keeper, code: Code) -> Response:
    """Change what is wanted, if nobody else changed it meanwhile."""
    order = desk.read(queries.order, code)
    form = cards.changed(desk, order, OrderChange, LINES)
    if form.asked is not None and not form.asked.model_fields_set:
        return desk.onward(f"/orders/{code}", _("Nothing was changed."))
    if desk.book(form, actions.change_order, code, if_match=cards.tag_of(desk)):
        return desk.onward(f"/orders/{code}", _("Order %(code)s is changed.") % {"code": code})
    return _page(desk, form, order)


def _page(desk: Desk, form: Form[OrderChange], order: OrderOut) -> Response:
    # Of one that ended meanwhile the form stays, with the refusal and what was typed.
    shows_form = order.state == "open" or form.status != HTTPStatus.OK
    offered = desk.read(choices) if shows_form and desk.staff.may(Permission.ORDERS) else None
    return desk.show("order.html", form, order=order, offered=offered, states=STATES)
