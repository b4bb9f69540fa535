"""Taking bags back from a customer; they start on hold."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import Query, Response
from sqlmodel import Session

from app.ledger.tables import UnitKind
from app.sending.actions import take_back
from app.sending.queries import dispatch
from app.sending.schemas import DispatchOut, ReturnIn
from app.shared.codes import Code, fold
from app.shared.staff import Permission
from app.web import loading
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (Task("/returns", N_("Take bags back"), Room.SENDING, Permission.RETURN),)
OFFERS = (
    Offer(
        "/returns?dispatch={code}", N_("Take bags back"), Permission.RETURN,
        frozenset({UnitKind.DISPATCH}), likely=frozenset({UnitKind.DISPATCH}),
    ),
)  # fmt: skip

TakerBack = Annotated[Desk, may(Permission.RETURN)]


def _sent(
    session: Session, code: str | None
) -> tuple[DispatchOut | None, Sequence[tuple[str, str]]]:
    return (dispatch(session, code) if code else None), loading.crate_kinds(session)


def _page(desk: Desk, code: str | None, form: Form[ReturnIn]) -> Response:
    sent, crates = desk.read(_sent, code)
    return desk.show("returns.html", form, sent=sent, crates=crates)


@router.get("/returns")
def show_returns(desk: TakerBack, dispatch: Annotated[Code | None, Query()] = None) -> Response:
    """Ask of which dispatch, then which of its bags came back and why."""
    return _page(desk, dispatch, desk.blank(ReturnIn))


@router.post("/returns")
def book_return(desk: TakerBack) -> Response:
    """Book what came back."""
    desk.typed = loading.without_blank_rows(desk.typed, "lines")
    form = desk.sent(ReturnIn)
    if back := desk.book(form, take_back):
        return desk.onward(f"/sent/{back['dispatch']}", _told(back))
    return _page(desk, str(fold(form.value("dispatch"))), form)


def _told(back: Mapping[str, Any]) -> str:
    bags = sum(line["bags"] for line in back["lines"])
    codes = ", ".join(line["code"] for line in back["lines"])
    told = ngettext(
        "%(number)s bag came back as %(codes)s and is on hold.",
        "%(number)s bags came back as %(codes)s and are on hold.",
        bags,
    )
    return told % {"number": bags, "codes": codes}
