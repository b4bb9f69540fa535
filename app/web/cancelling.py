"""Cancelling what was planned or wanted: a batch, a pick, an order."""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Path, Response
from pydantic import BaseModel

from app.roasting.batches import actions as batches
from app.roasting.batches.schemas import BatchCancelIn
from app.sending.orders import actions as orders
from app.sending.orders.schemas import OrderCancelIn
from app.sending.picking import actions as picking
from app.sending.picking.schemas import CancelIn
from app.shared.codes import fold
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting
from app.web.forms import Form, small_number
from app.web.routing import page_router
from app.web.texts import N_, _

router = page_router()


class Cancel(NamedTuple):
    """Something that can be cancelled."""

    name: str
    """Marked with `N_`."""
    means: str
    """What comes of it."""
    action: Callable[..., BaseModel]
    body: type[BaseModel]
    permission: Permission
    back: str
    """Where it was listed."""
    done: str
    """Says that it was; marked with `N_`."""
    numbered: bool = True


CANCELS: Final[Mapping[str, Cancel]] = {
    "batch": Cancel(
        N_("Cancel batch %(number)s"), N_("Its green is free for others again."),
        batches.cancel, BatchCancelIn, Permission.PLAN, "/batches",
        N_("Batch %(number)s is cancelled."),
    ),
    "pick": Cancel(
        N_("Cancel pick %(number)s"), N_("Its bags are free for others again."),
        picking.cancel, CancelIn, Permission.DISPATCH, "/sending",
        N_("Pick %(number)s is cancelled."),
    ),
    "order": Cancel(
        N_("Cancel order %(number)s"),
        N_("Nothing more is sent for it. What went out already stays in the book."),
        orders.cancel_order, OrderCancelIn, Permission.ORDERS, "/orders",
        N_("Order %(number)s is cancelled."), numbered=False,
    ),
}  # fmt: skip
"""What the pages list and let somebody cancel, by its name in an address."""

Which = Annotated[str, Path(max_length=40)]


def _cancel(desk: Desk, what: str, which: str) -> tuple[Cancel, str | int]:
    """Find what is cancelled, and how its action names it."""
    found = CANCELS.get(what)
    named = small_number(which) if found and found.numbered else str(fold(which))
    if found is None or named is None:
        raise Refused("not-found", f"There is no {what} {which} that is cancelled here.")
    desk.staff.refuse_without(found.permission)
    return found, named


@router.get("/cancel/{what}/{which}")
def show_cancel(desk: Visiting, what: str, which: Which) -> Response:
    """Ask why it is cancelled."""
    cancel, _named = _cancel(desk, what, which)
    return _ask(desk, what, which, desk.blank(cancel.body))


@router.post("/cancel/{what}/{which}")
def book_cancel(desk: Visiting, what: str, which: Which) -> Response:
    """Cancel it."""
    cancel, named = _cancel(desk, what, which)
    form = desk.sent(cancel.body)
    if desk.book(form, cancel.action, named):
        return desk.onward(cancel.back, _(cancel.done) % {"number": named})
    return _ask(desk, what, which, form)


def _ask(desk: Desk, what: str, which: str, form: Form[Any]) -> Response:
    heading = _(CANCELS[what].name) % {"number": which}
    return desk.show("cancel.html", form, cancel=CANCELS[what], path_here=f"/cancel/{what}/{which}",
                     heading=heading)  # fmt: skip
