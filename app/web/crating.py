"""Crates that travel alone, where they all are, and counting them."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.sending.crates.actions import count, move
from app.sending.crates.queries import balance_page, movement_page
from app.sending.crates.schemas import CrateCountIn, CrateMovementIn
from app.sending.crates.tables import CrateAct
from app.sending.tables import CustomerKind
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import loading
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/crates", N_("Crates out and back"), Room.SENDING, Permission.DISPATCH),)

Sender = Annotated[Desk, may(Permission.DISPATCH)]

_LATEST: Final = 20
"""So many movements are listed, the newest first."""
_ACTS: Final = {
    CrateAct.OUT: N_("went out"), CrateAct.BACK: N_("came back"), CrateAct.COUNT: N_("counted"),
}  # fmt: skip


class Crates(NamedTuple):
    """Whose they can be, which there are, and where they are."""

    customers: Sequence[tuple[str, str]]
    kinds: Sequence[tuple[str, str]]
    balances: Sequence[Mapping[str, Any]]
    latest: Sequence[Mapping[str, Any]]


def _crates(session: Session) -> Crates:
    balances, _more = balance_page(session, Page(200, 0))
    kinds = [(str(each["kind"]), str(each["kind"])) for each in balances]
    latest, _no_cursor = movement_page(session, Page(_LATEST, 0, latest=True), None)
    return Crates(loading.customers(session, CustomerKind.BUSINESS), kinds, balances, latest)


def _page(desk: Desk, form: Form[CrateMovementIn]) -> Response:
    return desk.show("crates.html", form, crates=desk.read(_crates), acts=_ACTS)


@router.get("/crates")
def show_crates(desk: Sender) -> Response:
    """Show where crates are, and ask which went out or came back without bags."""
    return _page(desk, desk.blank(CrateMovementIn))


@router.post("/crates")
def move_crates(desk: Sender) -> Response:
    """Book crates that travelled alone."""
    form = desk.sent(CrateMovementIn)
    if moved := desk.book(form, move):
        there = ", ".join(f"{each['count']} {each['kind']}" for each in moved["at_customer"])
        told = _("%(customer)s now has: %(crates)s.") % {
            "customer": moved["customer"],
            "crates": there or _("none"),
        }
        return desk.onward("/crates", told)
    return _page(desk, form)


@router.get("/crates/count")
def show_count(desk: Sender) -> Response:
    """Ask how many crates of a kind there are, here or at a customer."""
    return _count_page(desk, desk.blank(CrateCountIn))


@router.post("/crates/count")
def count_crates(desk: Sender) -> Response:
    """Bring the book to the count."""
    form = desk.sent(CrateCountIn)
    if counted := desk.book(form, count):
        told = _("%(kind)s: %(counted)s counted, the book had %(book)s.") % counted
        return desk.onward("/crates", told)
    return _count_page(desk, form)


def _count_page(desk: Desk, form: Form[CrateCountIn]) -> Response:
    return desk.show("crates_count.html", form, crates=desk.read(_crates))
