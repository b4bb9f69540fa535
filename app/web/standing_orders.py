"""Standing orders: what a customer wants again and again, and the orders called off them."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.sending.standing import actions, queries
from app.sending.standing.schemas import (
    CallIn,
    StandingChange,
    StandingDate,
    StandingIn,
    StandingOut,
)
from app.shared.codes import Code
from app.shared.days import today_here
from app.shared.paging import Page, PageAsked
from app.shared.staff import Permission
from app.web import cards
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.ordering import LINES, choices
from app.web.routing import page_router
from app.web.shown import day
from app.web.tasks import Room, Task
from app.web.texts import N_, _, options

router = page_router()

TASKS = (Task("/standing-orders", N_("Standing orders"), Room.SENDING, Permission.ORDERS),)

Keeper = Annotated[Desk, may(Permission.ORDERS)]

WEEKDAYS: Final = {
    "monday": N_("Monday"), "tuesday": N_("Tuesday"), "wednesday": N_("Wednesday"),
    "thursday": N_("Thursday"), "friday": N_("Friday"), "saturday": N_("Saturday"),
    "sunday": N_("Sunday"),
}  # fmt: skip
_SOON: Final = timedelta(days=14)
"""Dates so near are listed where no order was made for them."""
_AHEAD: Final = timedelta(weeks=8)
"""So far ahead the page of one names its dates."""


class Standing(NamedTuple):
    """A page of standing orders, and the next dates without an order by their codes."""

    rows: Sequence[Mapping[str, Any]]
    following: str | None
    to_call: Mapping[str, date]


def _standing(session: Session, page: Page, today: date) -> Standing:
    rows, following = queries.standing_page(session, page, None)
    soon = queries.still_to_call(session, today, today + _SOON)
    return Standing(rows, following, {card.code: on for card, on in reversed(soon)})


@router.get("/standing-orders")
def list_standing(desk: Visiting, page: PageAsked) -> Response:
    """List standing orders, with the next date that has no order yet."""
    found = desk.read(_standing, page, today_here())
    return desk.show("standing_orders.html", found=found, weekdays=WEEKDAYS)


@router.get("/standing-orders/new")
def show_new(desk: Keeper) -> Response:
    """Ask who wants what on which days."""
    return _ask(desk, desk.blank(StandingIn, every_weeks=1, starts_on=today_here()))


@router.post("/standing-orders/new")
def enter(desk: Keeper) -> Response:
    """Enter the standing order."""
    form = desk.sent(StandingIn)
    if made := desk.book(form, actions.add_standing_order):
        told = _("Standing order %(code)s of %(customer)s is entered.") % made
        return desk.onward(f"/standing-orders/{made['code']}", told)
    return _ask(desk, form)


def _ask(desk: Desk, form: Form[StandingIn]) -> Response:
    return desk.show(
        "standing_order_new.html", form, offered=desk.read(choices), days=options(WEEKDAYS)
    )


class Found(NamedTuple):
    """A standing order and its next dates."""

    card: StandingOut
    dates: Sequence[StandingDate]

    @property
    def to_call(self) -> list[tuple[str, str]]:
        """The dates for which an order can be made."""
        free = [each.on for each in self.dates if not (each.paused or each.order)]
        return [(on.isoformat(), day(on)) for on in free]


def _found(session: Session, code: str, today: date) -> Found:
    card = queries.standing_order(session, code)
    return Found(card, queries.dates(session, code, today, today + _AHEAD).dates)


@router.get("/standing-orders/{code}")
def show_standing(desk: Visiting, code: Code) -> Response:
    """Show what falls due when, with the orders that were made for it."""
    return _page(desk, desk.read(_found, code, today_here()))


@router.post("/standing-orders/{code}")
def change(desk: Keeper, code: Code) -> Response:
    """Change it; orders that were called off it stay as they are."""
    found = desk.read(_found, code, today_here())
    form = cards.changed(desk, found.card, StandingChange, LINES)
    if form.asked is not None and not form.asked.model_fields_set:
        return desk.onward(f"/standing-orders/{code}", _("Nothing was changed."))
    if desk.book(form, actions.change_standing_order, code, if_match=cards.tag_of(desk)):
        told = _("Standing order %(code)s is changed.") % {"code": code}
        return desk.onward(f"/standing-orders/{code}", told)
    return _page(desk, found, form)


@router.post("/standing-orders/{code}/orders")
def call_off(desk: Keeper, code: Code) -> Response:
    """Make the order of one date."""
    form = desk.sent(CallIn)
    if made := desk.book(form, actions.call_off, code):
        told = _("Order %(code)s of %(customer)s is entered.") % made
        return desk.onward(f"/standing-orders/{code}", told)
    return _page(desk, desk.read(_found, code, today_here()), calling=form)


def _page(
    desk: Desk,
    found: Found,
    form: Form[StandingChange] | None = None,
    calling: Form[CallIn] | None = None,
) -> Response:
    may_keep = desk.staff.may(Permission.ORDERS)
    refused = calling if calling is not None and calling.status != 200 else None  # noqa: PLR2004
    return desk.show(
        "standing_order.html",
        refused or form or cards.opened(found.card, StandingChange, LINES),
        changing=form or cards.opened(found.card, StandingChange, LINES),
        calling=calling or desk.blank(CallIn),
        card=found.card,
        dates=found.dates,
        to_call=found.to_call,
        offered=desk.read(choices) if may_keep else None,
        days=options(WEEKDAYS),
        weekdays=WEEKDAYS,
    )
