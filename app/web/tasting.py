"""Tasting what was set aside, and deciding what it may be used for."""

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlalchemy import Row
from sqlmodel import Session

from app.ledger.tables import UnitKind
from app.quality import actions, queries
from app.quality.schemas import CuppingIn
from app.roasting import queries as roasting
from app.roasting.rules import Check
from app.roasting.schemas import RoastOut
from app.settings import Settings
from app.shared.codes import Code, fold
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.gate import CHECKS, disposition
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import mass_kg, number
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

_ROASTED: Final = frozenset({UnitKind.ROAST})
OFFERS = (Offer("/cup/{code}", N_("Taste it"), Permission.CUP, _ROASTED, likely=_ROASTED),)
TASKS = (Task("/cup", N_("Taste what was set aside"), Room.QUALITY, Permission.CUP),)

Cupper = Annotated[Desk, may(Permission.CUP)]

MOST: Final = 200
VERDICTS: Final = {
    "release": N_("release"),
    "blend_in": N_("blend in"),
    "rework": N_("rework"),
    "reject": N_("reject"),
    "scrap": N_("scrap"),
}
"""What a tasting decides, in words."""


class SetAside(NamedTuple):
    """A roast that waits, and what it missed."""

    roast: Row[Any]
    missed: Sequence[Check]


def set_aside(session: Session) -> list[SetAside]:
    """Read the roasts of which something is left and that nobody has tasted, the oldest first."""
    return [SetAside(row, _missed(row.checks)) for row in roasting.set_aside(session, MOST)]


def _missed(checks: str) -> list[Check]:
    return [check for each in json.loads(checks) if not (check := Check(**each)).passed]


@router.get("/cup")
def show_set_aside(desk: Cupper) -> Response:
    """List what waits to be tasted."""
    return desk.show("set_aside.html", waiting=desk.read(set_aside), checks=CHECKS)


def _about(
    session: Session, code: str, settings: Settings
) -> tuple[RoastOut, Sequence[Mapping[str, Any]]]:
    roast = roasting.roast(session, code, settings)
    tastings, _more = queries.cupping_page(session, Page(50, 0), roast.code)
    return roast, tastings


def _page(desk: Desk, code: str, form: Form[CuppingIn]) -> Response:
    roast, tastings = desk.read(_about, code, desk.settings)
    return desk.show(
        "cupping.html",
        form,
        roast=roast,
        tastings=tastings,
        checks=CHECKS,
        disposition=disposition,
        verdicts=[(value, _(words)) for value, words in VERDICTS.items()],
        usual_pct=desk.settings.blend_in_at_most_pct,
    )


@router.get("/cup/{code}")
def show_cupping(desk: Cupper, code: str) -> Response:
    """Show what is known of a roast, and ask what the table says."""
    return _page(desk, str(fold(code)), desk.blank(CuppingIn))


@router.post("/cup/{code}")
def cup(desk: Cupper, code: Code) -> Response:
    """Book the tasting with its decision, and go on to the next roast."""
    form = desk.sent(CuppingIn)
    if cupped := desk.book(form, actions.cup, code):
        return desk.onward("/cup", _told(cupped))
    return _page(desk, code, form)


def _told(cupped: Mapping[str, Any]) -> str:
    told = f"{cupped['roast']}: {disposition(cupped['disposition'])}."
    if cupped["at_most_pct"] is not None:
        told += " " + _("At most %(share)s %% of a blend.") % {
            "share": number(cupped["at_most_pct"])
        }
    if cupped["scrapped_kg"]:
        told += " " + _("%(mass)s booked off.") % {"mass": mass_kg(cupped["scrapped_kg"])}
    return told
