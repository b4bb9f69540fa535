"""The tasks of stopping coffee and of letting it go again."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import Response
from sqlmodel import Session

from app.ledger import actions as ledger
from app.ledger.schemas import HoldIn, ReleaseIn
from app.packing.materials.queries import open_holds
from app.packing.materials.schemas import LotHoldOut
from app.quality import actions
from app.quality.queries import hold_page
from app.quality.routes import HoldNumber
from app.shared.paging import Page, PageAsked, PageOf
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.shared.times import now
from app.web.arriving import STEPS
from app.web.desk import Desk, Visiting, may
from app.web.offers import IN_STOCK, Offer
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext

router = page_router()

TASKS = (
    Task("/hold", N_("Stop coffee"), Room.QUALITY, Permission.HOLD, offline=True),
    Task("/holds", N_("Open holds"), Room.QUALITY, Permission.RELEASE),
)
OFFERS = (Offer("/hold?units={code}", N_("Stop it"), Permission.HOLD, IN_STOCK, likely=IN_STOCK),)

Stopper = Annotated[Desk, may(Permission.HOLD)]
Releaser = Annotated[Desk, may(Permission.RELEASE)]
_NAMED: Final = 20
"""So many units of a hold are named in a list."""


@router.get("/hold")
def show_hold(desk: Stopper) -> Response:
    """Ask what is to be stopped, and why."""
    return desk.show("hold.html", desk.blank(HoldIn))


@router.post("/hold")
def hold(desk: Stopper) -> Response:
    """Stop it, and be ready for the next."""
    form = desk.sent(HoldIn)
    if placed := desk.book(form, ledger.hold):
        return desk.onward("/hold", _told(placed))
    return desk.show("hold.html", form)


def _told(placed: dict[str, Any]) -> str:
    number = len(placed["units"])
    return ngettext(
        "%(number)s unit is stopped: hold %(hold)s.",
        "%(number)s units are stopped: hold %(hold)s.",
        number,
    ) % {"number": number, "hold": placed["id"]}


@router.get("/holds")
def list_open_holds(desk: Visiting, page: PageAsked) -> Response:
    """List holds that stand, the oldest first."""
    (holds, following), materials = desk.read(_standing, page)
    aged = [(each, _days(str(each["placed_at"]))) for each in holds]
    return desk.show(
        "holds.html", holds=aged, following=following, most=_NAMED, materials=materials
    )


def _standing(session: Session, page: Page) -> tuple[PageOf, Sequence[LotHoldOut]]:
    """Read the holds of coffee and, beside the first of them, those of packing material."""
    of_materials = [] if page.after else open_holds(session, page.limit)
    return hold_page(session, page, None, True), of_materials


def _days(placed_at: str) -> int:
    return (now() - datetime.fromisoformat(placed_at)).days


def _numbered(session: Session, number: int) -> dict[str, Any]:
    """Read one hold."""
    found, _following = hold_page(session, Page(1, number - 1), None, None)
    if not found or found[0]["id"] != number:
        raise Refused("not-found", f"There is no hold {number}.")
    return dict(found[0])


@router.get("/holds/{number}/release")
def show_release(desk: Releaser, number: HoldNumber) -> Response:
    """Show what a hold stops, and ask why it is let go."""
    return _release_page(desk, number, None)


def _release_page(desk: Desk, number: int, form: Any) -> Response:  # noqa: ANN401 - a form
    held = desk.read(_numbered, number)
    shown = form or desk.blank(ReleaseIn)
    return desk.show("release.html", shown, hold=held, days=_days(held["placed_at"]), most=_NAMED)


@router.post("/holds/{number}/release")
def release(desk: Releaser, number: HoldNumber) -> Response:
    """Let it go, and say what of an arrival was still to be done."""
    form = desk.sent(ReleaseIn)
    if released := desk.book(form, actions.release, number):
        return desk.onward("/holds", _let_go(released))
    return _release_page(desk, number, form)


def _let_go(released: dict[str, Any]) -> str:
    told = _("Hold %(number)s is released.") % {"number": released["id"]}
    for lot, steps in (released.get("open_steps") or {}).items():
        if steps:
            listed = ", ".join(_(STEPS[step]) for step in steps)
            told += " " + _("Not done yet for %(lot)s: %(steps)s.") % {"lot": lot, "steps": listed}
    return told
