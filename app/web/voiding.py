"""The task of voiding what was booked by mistake, after a look at what goes with it."""

from typing import Annotated, Any, Final

from fastapi import Path, Query, Response

from app.ledger.corrections import acts
from app.ledger.corrections.schemas import ActVoidIn
from app.ledger.queries import adjustment_page
from app.ledger.schemas import VoidIn
from app.shared.codes import Code
from app.shared.paging import Page
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.tracing import voiding
from app.tracing.impact import impact
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.kinds import REASONS, named
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.texts import N_, _, ngettext

router = page_router()

OFFERS = (
    Offer("/void/{code}", N_("Void"), Permission.VOID, grave=True),
    Offer(
        "/adjustments?unit={code}", N_("Its adjustments"), Permission.VOID,
        fits=lambda unit: any(event.what == "adjusted" for event in unit.events),
    ),
)  # fmt: skip
AdjustmentNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]

_AT_ONCE: Final = 50

Corrector = Annotated[Desk, may(Permission.VOID)]
_LISTED: Final = 50


@router.get("/void/{code}")
def show_impact(desk: Corrector, code: Code) -> Response:
    """Show what goes with a unit and what is given back, and ask why."""
    return _page(desk, code, desk.blank(VoidIn))


def _page(desk: Desk, code: str, form: Form[VoidIn]) -> Response:
    found = desk.read(impact, code)
    return desk.show("void.html", form, impact=found, named=named, most=_LISTED)


@router.post("/void/{code}")
def void(desk: Corrector, code: Code) -> Response:
    """Void it by a correcting entry: all that was shown together, or nothing."""
    form = desk.sent(VoidIn)
    may_release = desk.staff.may(Permission.RELEASE)
    if voided := desk.book(form, voiding.void, code, may_release=may_release):
        return desk.onward(f"/u/{voided['code']}", _told(voided))
    return _page(desk, code, form)


def _told(voided: dict[str, Any]) -> str:
    number = len(voided["voided"])
    return ngettext(
        "%(number)s unit is voided; what went into it is given back.",
        "%(number)s units are voided; what went into them is given back.",
        number,
    ) % {"number": number}


@router.get("/adjustments")
def list_adjustments(
    desk: Visiting,
    unit: Annotated[Code | None, Query()] = None,
    before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """List adjustments, of one unit or all; the latest first, which was booked by mistake."""
    latest = Page(_AT_ONCE + 1, before or 0, latest=True)
    lines, _no_cursor = desk.read(adjustment_page, latest, unit)
    further = {"unit": unit} if unit else {}
    if len(lines) > _AT_ONCE:
        further["before"] = str(lines[_AT_ONCE - 1]["id"])
    return desk.show(
        "adjustments.html", lines=lines[:_AT_ONCE], more=len(lines) > _AT_ONCE, further=further,
        unit=unit, reasons=REASONS,
    )  # fmt: skip


@router.get("/adjustments/{number}/void")
def show_adjustment(desk: Corrector, number: AdjustmentNumber) -> Response:
    """Show what an adjustment did, and ask why it is voided."""
    return _adjustment_page(desk, number, desk.blank(ActVoidIn))


def _adjustment_page(desk: Desk, number: int, form: Form[ActVoidIn]) -> Response:
    lines, _following = desk.read(adjustment_page, Page(1, number - 1), None)
    if not lines or lines[0]["id"] != number:
        raise Refused("not-found", f"There is no adjustment {number}.")
    return desk.show("adjustment_void.html", form, line=lines[0], reasons=REASONS)


@router.post("/adjustments/{number}/void")
def void_adjustment(desk: Corrector, number: AdjustmentNumber) -> Response:
    """Void it by one that reverses it."""
    form = desk.sent(ActVoidIn)
    if voided := desk.book(form, acts.void_adjustment, number):
        said = _("%(unit)s now holds %(mass)s.") % {
            "unit": voided["unit"],
            "mass": mass_kg(voided["left_kg"]),
        }
        return desk.onward(f"/adjustments?unit={voided['unit']}", said)
    return _adjustment_page(desk, number, form)
