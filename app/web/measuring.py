"""The task of taking a moisture reading."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Response

from app.green.readings import actions
from app.green.readings.schemas import ReadingIn
from app.ledger.tables import UnitKind
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.offers import Offer, left
from app.web.readings import to_mind
from app.web.routing import page_router
from app.web.shown import number
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task("/moisture", N_("Take a moisture reading"), Room.STORE, Permission.READING, offline=True),
)
OFFERS = (
    Offer(
        "/moisture?subject={code}", N_("Read its moisture"), Permission.READING,
        frozenset({UnitKind.LOT, UnitKind.SACK}), left,
        likely=frozenset({UnitKind.LOT, UnitKind.SACK}),
    ),
)  # fmt: skip

Measurer = Annotated[Desk, may(Permission.READING)]


@router.get("/moisture")
def show_moisture(desk: Measurer) -> Response:
    """Ask of what, how much and measured with what."""
    return desk.show("moisture.html", desk.blank(ReadingIn))


@router.post("/moisture")
def take_moisture(desk: Measurer) -> Response:
    """Book the reading, and say how it stands to the range."""
    form = desk.sent(ReadingIn)
    if taken := desk.book(form, actions.read):
        meter = urlencode({"instrument": taken["instrument"]}) if taken["instrument"] else ""
        return desk.onward(f"/moisture?{meter}" if meter else "/moisture", _told(taken))
    return desk.show("moisture.html", form)


def _told(taken: dict[str, Any]) -> str:
    told = _("%(subject)s: %(value)s %% moisture.") % {
        "subject": taken["subject"],
        "value": number(taken["value"]),
    }
    if taken["in_range"] is False:
        low, high = map(number, taken["range"])
        told += " " + _("Outside %(low)s to %(high)s %%.") % {"low": low, "high": high}
    elif taken["in_range"]:
        told += " " + _("In the range.")
    return " ".join([told, *to_mind(taken)])
