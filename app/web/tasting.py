"""The task of tasting a roast and deciding what it may be used for."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Response

from app.ledger.tables import UnitKind
from app.quality import actions
from app.quality.queries import cupping_page
from app.quality.rules import Disposition
from app.quality.schemas import CuppingIn
from app.roasting.queries import roast, roast_page
from app.shared.codes import Code
from app.shared.paging import Page, PageAsked
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.facts import DISPOSITIONS
from app.web.forms import Form
from app.web.offers import Offer
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = APIRouter(include_in_schema=False)

TASKS = (Task("/cup", N_("Taste roasts"), Room.QUALITY, Permission.CUP),)
OFFERS = (Offer("/cup/{code}", N_("Taste it"), Permission.CUP, frozenset({UnitKind.ROAST})),)

Cupper = Annotated[Desk, may(Permission.CUP)]
VERDICTS: Final = {
    "release": N_("release: it may be used for anything"),
    "blend_in": N_("blend in: into blends, up to a share of each"),
    "rework": N_("rework: into blends as the rework of a recipe"),
    "reject": N_("reject: nothing is made of it"),
    "scrap": N_("scrap: what is left is destroyed and booked off"),
}
"""What a tasting decides, in words."""
_TASTERS: Final = 3


@router.get("/cup")
def list_to_taste(desk: Cupper, page: PageAsked) -> Response:
    """List roasts that wait to be tasted, the oldest first."""
    waiting, following = desk.read(roast_page, page, Disposition.SET_ASIDE, desk.settings)
    there = [each for each in waiting if not each["voided"]]
    return desk.show("to_taste.html", waiting=there, following=following)


@router.get("/cup/{code}")
def show_cupping(desk: Cupper, code: Code) -> Response:
    """Show what the gate found of a roast, and ask what the cup says."""
    return _page(desk, code, desk.blank(CuppingIn))


def _page(desk: Desk, code: str, form: Form[CuppingIn]) -> Response:
    return desk.show(
        "cup.html",
        form,
        roast=desk.read(roast, code, desk.settings),
        tasted=desk.read(cupping_page, Page(50, 0), code)[0],
        verdicts=[(each, _(words)) for each, words in VERDICTS.items()],
        dispositions=DISPOSITIONS,
        tasters=_TASTERS,
    )


@router.post("/cup/{code}")
def cup(desk: Cupper, code: Code) -> Response:
    """Book the tasting, and go on to the next roast that waits."""
    form = desk.sent(CuppingIn)
    if tasted := desk.book(form, actions.cup, code):
        return desk.onward("/cup", _told(tasted))
    return _page(desk, code, form)


def _told(tasted: dict[str, Any]) -> str:
    decided = DISPOSITIONS[tasted["disposition"]]
    return _("%(roast)s: %(decided)s.") % {"roast": tasted["roast"], "decided": _(decided)}
