"""Undoing what was booked by mistake, with all that hangs on it looked at before."""

from typing import Annotated, Any

from fastapi import APIRouter, Response

from app.ledger.schemas import VoidIn
from app.shared.codes import Code, fold
from app.shared.staff import Permission
from app.tracing.impact import impact
from app.tracing.voiding import void
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.kinds import named
from app.web.shown import mass_kg
from app.web.texts import _

router = APIRouter(include_in_schema=False)

Corrector = Annotated[Desk, may(Permission.VOID)]


def _page(desk: Desk, code: str, form: Form[VoidIn]) -> Response:
    return desk.show("void.html", form, impact=desk.read(impact, code), named=named)


@router.get("/void/{code}")
def show_void(desk: Corrector, code: str) -> Response:
    """Show what a void would take with it."""
    return _page(desk, str(fold(code)), desk.blank(VoidIn))


@router.post("/void/{code}")
def book_void(desk: Corrector, code: Code) -> Response:
    """Undo it, with what was shown and nothing else."""
    form = desk.sent(VoidIn)
    may_release = desk.staff.may(Permission.RELEASE)
    if voided := desk.book(form, void, code, may_release=may_release):
        return desk.onward(f"/u/{voided['code']}", _told(voided))
    return _page(desk, code, form)


def _told(voided: dict[str, Any]) -> str:
    back = [f"{code} {mass_kg(mass)}" for code, mass in voided["given_back_kg"].items()]
    told = _("Voided: %(codes)s.") % {"codes": ", ".join(voided["voided"][:20])}
    return told if not back else f"{told} {_('Given back:')} {', '.join(back[:20])}."
