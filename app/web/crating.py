"""Crates that travel alone, and where they all are."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Response
from sqlmodel import Session

from app.sending.crates.actions import move
from app.sending.crates.queries import balance_page
from app.sending.crates.schemas import CrateMovementIn
from app.sending.tables import CustomerKind
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import loading
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = APIRouter(include_in_schema=False)

TASKS = (Task("/crates", N_("Crates out and back"), Room.SENDING, Permission.DISPATCH),)

Sender = Annotated[Desk, may(Permission.DISPATCH)]


class Crates(NamedTuple):
    """Whose they can be, which there are, and where they are."""

    customers: Sequence[tuple[str, str]]
    kinds: Sequence[tuple[str, str]]
    balances: Sequence[Mapping[str, Any]]


def _crates(session: Session) -> Crates:
    balances, _more = balance_page(session, Page(200, 0))
    kinds = [(str(each["kind"]), str(each["kind"])) for each in balances]
    return Crates(loading.customers(session, CustomerKind.BUSINESS), kinds, balances)


def _page(desk: Desk, form: Form[CrateMovementIn]) -> Response:
    return desk.show("crates.html", form, crates=desk.read(_crates))


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
