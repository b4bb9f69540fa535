"""The task of moving sacks: scan the place, scan the sacks, book."""

from typing import Annotated, Any

from fastapi import Response

from app.ledger.tables import UnitKind
from app.places import actions
from app.places.schemas import MoveIn
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.offers import Offer, left
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (Task("/move", N_("Move sacks"), Room.STORE, Permission.MOVE, offline=True),)
OFFERS = (
    Offer(
        "/move?sacks={code}", N_("Move it"), Permission.MOVE, frozenset({UnitKind.SACK}),
        fits=lambda unit: left(unit) and unit.place is not None,
        likely=frozenset({UnitKind.SACK}),
    ),
)  # fmt: skip

Mover = Annotated[Desk, may(Permission.MOVE)]


@router.get("/move")
def show_move(desk: Mover) -> Response:
    """Ask where to and which sacks."""
    return desk.show("move.html", desk.blank(MoveIn))


@router.post("/move")
def move(desk: Mover) -> Response:
    """Book the move, and ask for the next."""
    form = desk.sent(MoveIn)
    if moved := desk.book(form, actions.move):
        return desk.onward("/move", told(moved))
    return desk.show("move.html", form)


def told(moved: dict[str, Any]) -> str:
    """Say what was moved where, with what to mind."""
    number = len(moved["sacks"])
    said = ngettext(
        "%(number)s sack now stands at %(place)s.",
        "%(number)s sacks now stand at %(place)s.",
        number,
    ) % {"number": number, "place": moved["to"]}
    return " ".join([said, *(each["caution"] for each in moved["cautions"])])
