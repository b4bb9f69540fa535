"""A lot of packing material: where all of it went, and what is done with it beside packing."""

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.ledger.corrections.schemas import ActVoidIn
from app.ledger.schemas import ReleaseIn
from app.packing.materials import actions, queries, voids
from app.packing.materials.routes import HoldNumber
from app.packing.materials.schemas import LotChangeIn, LotHoldIn, MaterialLotOut
from app.shared.codes import Code
from app.shared.paging import Page
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.record_voids import told_of
from app.web.routing import page_router
from app.web.shown import number
from app.web.texts import N_, _

router = page_router()

Releaser = Annotated[Desk, may(Permission.RELEASE)]

_MOST: Final = 100
"""So many counts, write-offs and holds of a lot are listed."""


class Deed(NamedTuple):
    """Something that is done with a lot."""

    name: str
    """A verb, marked with `N_`."""
    button: str
    body: type[BaseModel]
    action: Callable[..., BaseModel]
    permission: Permission
    told: Callable[[Mapping[str, Any]], str]
    grave: bool = False


def _now_left(made: Mapping[str, Any]) -> str:
    return _("%(code)s has %(left)s left now.") % {
        "code": made["lot"], "left": number(made["left"]),
    }  # fmt: skip


def _stopped(made: Mapping[str, Any]) -> str:
    return _("%(code)s is stopped: no pack uses it until quality releases it.") % {
        "code": made["lot"]
    }


DEEDS: Final[Mapping[str, Deed]] = {
    "count": Deed(
        N_("Count it"), N_("Book the count"), LotChangeIn, actions.change_lot,
        Permission.MATERIALS, _now_left,
    ),
    "write-off": Deed(
        N_("Write some off"), N_("Write it off"), LotChangeIn, actions.change_lot,
        Permission.MATERIALS, _now_left,
    ),
    "hold": Deed(
        N_("Stop it"), N_("Stop it"), LotHoldIn, actions.hold_lot, Permission.HOLD, _stopped,
        grave=True,
    ),
    "void": Deed(
        N_("Void"), N_("Void"), ActVoidIn, voids.void_lot, Permission.VOID, told_of, grave=True,
    ),
}  # fmt: skip
"""What the page of a lot leads to, by its name in an address."""


class Roll(NamedTuple):
    """A lot with what was done to it."""

    lot: MaterialLotOut
    changes: Sequence[Mapping[str, Any]]
    holds: Sequence[Mapping[str, Any]]


def _roll(session: Session, code: str) -> Roll:
    changes, _more_changes = queries.change_page(session, Page(_MOST, 0, latest=True), code)
    holds, _more_holds = queries.hold_page(session, Page(_MOST, 0, latest=True), code)
    return Roll(queries.lot(session, code), changes, holds)


@router.get("/material/{code}")
def show_lot(desk: Visiting, code: Code) -> Response:
    """Show where all of a lot went, what was counted and stopped, and what can be done."""
    roll = desk.read(_roll, code)
    mine = {
        name: deed
        for name, deed in DEEDS.items()
        if not roll.lot.voided and desk.staff.may(deed.permission)
    }
    may_correct = not roll.lot.voided and desk.staff.may(Permission.MATERIALS)
    return desk.show(
        "material_lot.html", roll=roll, most=_MOST, deeds=mine, may_correct=may_correct
    )


def _deed(desk: Desk, name: str) -> Deed:
    if name not in DEEDS:
        raise Refused("not-found", f"Nothing called {name} is done with packing material.")
    desk.staff.refuse_without(DEEDS[name].permission)
    return DEEDS[name]


@router.get("/material/{code}/{name}")
def show_deed(desk: Visiting, code: Code, name: str) -> Response:
    """Ask what was counted, or why."""
    deed = _deed(desk, name)
    return _ask(desk, code, name, desk.blank(deed.body))


@router.post("/material/{code}/{name}")
def book_deed(desk: Visiting, code: Code, name: str) -> Response:
    """Book it, and go back to the lot."""
    deed = _deed(desk, name)
    form = desk.sent(deed.body)
    named = {"may_release": desk.staff.may(Permission.RELEASE)} if name == "void" else {}
    if made := desk.book(form, deed.action, code, **named):
        return desk.onward(f"/material/{code}", deed.told(made))
    return _ask(desk, code, name, form)


def _ask(desk: Desk, code: str, name: str, form: Form[Any]) -> Response:
    lot = desk.read(queries.lot, code)
    return desk.show("material_deed.html", form, lot=lot, name=name, deed=DEEDS[name])


@router.get("/material-holds/{number}/release")
def show_release(desk: Releaser, number: HoldNumber) -> Response:
    """Show what is stopped, and ask why it is let go."""
    return _release_page(desk, number, desk.blank(ReleaseIn))


@router.post("/material-holds/{number}/release")
def release(desk: Releaser, number: HoldNumber) -> Response:
    """Let it be used again."""
    form = desk.sent(ReleaseIn)
    if released := desk.book(form, actions.release_lot, number):
        told = _("Hold %(number)s is released.") % {"number": number}
        return desk.onward(f"/material/{released['lot']}", told)
    return _release_page(desk, number, form)


def _release_page(desk: Desk, number: int, form: Form[ReleaseIn]) -> Response:
    return desk.show("material_release.html", form, hold=desk.read(queries.hold, number))
