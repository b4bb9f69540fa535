"""Cases, crates with bags and pallets: built up by scanning, added to, taken apart."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final

from fastapi import Response
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.tables import UnitKind
from app.papers.cases import CASES
from app.sending.cases import actions
from app.sending.cases.naming import CaseCode
from app.sending.cases.queries import case_out, case_page
from app.sending.cases.rules import CaseState
from app.sending.cases.schemas import CaseAddition, CaseIn, TakenOut
from app.sending.cases.tables import Case, CaseKind
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import forms, loading
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.offers import Offer, left
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext, options

router = page_router()

TASKS = (Task("/cases", N_("Pack cases"), Room.PACKING, Permission.PACK, offline=True),)
OFFERS = (
    Offer(
        "/cases?contents.0.pack={code}", N_("Put into a case"), Permission.PACK,
        frozenset({UnitKind.PACK, UnitKind.RETURN}), left,
    ),
)  # fmt: skip

Packer = Annotated[Desk, may(Permission.PACK)]

CONTENTS: Final = "contents"
STATES: Final = {
    CaseState.HERE: N_("stands here"),
    CaseState.SENT: N_("was sent"),
    CaseState.APART: N_("was taken apart"),
}
_LATEST: Final = 40


def _standing(session: Session) -> Sequence[Mapping[str, Any]]:
    """Read the newest cases that stand here and on no pallet, the newest first."""
    newest = session.scalar(select(func.max(col(Case.id)))) or 0
    found, _following = case_page(session, Page(_LATEST, max(0, newest - _LATEST)), None)
    here = [each for each in found if each["state"] == CaseState.HERE and not each["pallet"]]
    return here[::-1]


def _ask(desk: Desk, form: Form[CaseIn]) -> Response:
    kinds = options(CASES)
    return desk.show(
        "cases.html", form, cases=desk.read(_standing), kinds=kinds, named=CASES, list=CONTENTS
    )


@router.get("/cases")
def show_cases(desk: Packer) -> Response:
    """Ask what goes into a case or onto a pallet, and list those that stand here."""
    form = desk.blank(CaseIn)
    form.typed = {"kind": [str(CaseKind.CASE)], **form.typed}
    return _ask(desk, form)


@router.post("/cases")
def build_case(desk: Packer) -> Response:
    """Book a case with what is in it."""
    desk.typed = desk.read(loading.by_what_leaves, desk.typed, CONTENTS)
    form = desk.sent(CaseIn)
    if made := desk.book(form, actions.build):
        return desk.onward(f"/cases/{made['code']}", _told(made))
    return _ask(desk, form)


def _told(made: Mapping[str, Any]) -> str:
    told = ngettext(
        "%(code)s holds %(number)s bag.", "%(code)s holds %(number)s bags.", made["bags"]
    ) % {"code": made["code"], "number": made["bags"]}
    return " ".join(filter(None, [told, made["caution"]]))


def _show(desk: Desk, code: str, template: str, form: Form[Any] | None = None) -> Response:
    case = desk.read(case_out, code, desk.settings)
    return desk.show(template, form, case=case, kinds=CASES, states=STATES, list=CONTENTS)


@router.get("/cases/{code}")
def show_case(desk: Visiting, code: CaseCode) -> Response:
    """Show what is in a case, or on a pallet."""
    return _show(desk, code, "case.html")


@router.get("/cases/{code}/contents")
def show_more(desk: Packer, code: CaseCode) -> Response:
    """Ask what more goes in."""
    return _show(desk, code, "case_more.html", desk.blank(CaseAddition))


@router.post("/cases/{code}/contents")
def add_to_case(desk: Packer, code: CaseCode) -> Response:
    """Book that more was put in."""
    desk.typed = desk.read(loading.by_what_leaves, desk.typed, CONTENTS)
    form = desk.sent(CaseAddition)
    if made := desk.book(form, actions.add, code):
        return desk.onward(f"/cases/{made['code']}", _told(made))
    return _show(desk, code, "case_more.html", form)


@router.get("/cases/{code}/take-apart")
def show_out(desk: Packer, code: CaseCode) -> Response:
    """Ask what is taken out."""
    return _show(desk, code, "case_out.html", desk.blank(TakenOut))


@router.post("/cases/{code}/take-apart")
def take_case_apart(desk: Packer, code: CaseCode) -> Response:
    """Book what was taken out: what was named, or all of it where that was pressed."""
    everything = "_all" in desk.typed
    typed = loading.without_blank_rows(desk.typed, CONTENTS)
    if everything:
        typed = {name: said for name, said in typed.items() if not name.startswith(CONTENTS)}
    form = forms.sent(TakenOut, typed)
    if form.asked and form.asked.contents is None and not everything:
        form.asked = None
        form.errors[CONTENTS] = _("Say what was taken out, or take all of it apart.")
    if made := desk.book(form, actions.take_apart, code):
        said = _told(made) if made["bags"] else _("%(code)s is apart.") % {"code": made["code"]}
        return desk.onward(f"/cases/{made['code']}", said)
    form.typed = desk.typed
    return _show(desk, code, "case_out.html", form)
