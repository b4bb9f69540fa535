"""Opening stock at the administrator's desk: a stock file, looked at before it is booked."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Response

from app.green.opening import Sorted, sort_asked, take_over
from app.green.schemas import StockFileIn
from app.green.stock_file import COLUMNS, REQUIRED
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.shown import mass_kg, number
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext

router = page_router()

TASKS = (Task("/opening-stock", N_("Take over opening stock"), Room.OFFICE, Permission.ADMIN),)

Administrator = Annotated[Desk, may(Permission.ADMIN)]
_MOST = 200
"""So many rows of a sort are shown; the counts say how many there are."""


@router.get("/opening-stock")
def show_opening(desk: Administrator) -> Response:
    """Ask for a stock file."""
    return _page(desk, desk.blank(StockFileIn))


@router.post("/opening-stock")
def take_over_stock(desk: Administrator) -> Response:
    """Show what would be booked and what is refused, or book it."""
    _plain_lines(desk)
    form = desk.sent(StockFileIn)
    if not desk.only_looks and (made := desk.book(form, take_over)):
        return desk.onward("/opening-stock", _told(made))
    return _page(desk, form, _sorted(desk, form))


def _plain_lines(desk: Desk) -> None:
    """End lines as files do: a form ends each with two characters, also within a cell."""
    typed: Sequence[str] = desk.typed.get("file", ())
    desk.typed = {**desk.typed, "file": [said.replace("\r\n", "\n") for said in typed]}


def _sorted(desk: Desk, form: Form[StockFileIn]) -> Sorted | None:
    if form.asked is None:
        return None
    try:
        return desk.read(sort_asked, form.asked, desk.settings)
    except Refused as refused:
        form.refuse(refused)
    return None


def _page(desk: Desk, form: Form[StockFileIn], found: Sorted | None = None) -> Response:
    return desk.show(
        "opening_stock.html", form, found=found, columns=COLUMNS, required=REQUIRED, most=_MOST
    )


def _told(made: dict[str, Any]) -> str:
    said = ngettext(
        "%(number)s lot is in the book: %(sacks)s sacks, %(mass)s.",
        "%(number)s lots are in the book: %(sacks)s sacks, %(mass)s.",
        made["lots"],
    ) % {"number": made["lots"], "sacks": number(made["sacks"]), "mass": mass_kg(made["kg"])}
    if made["refused"]:
        said += " " + _("Refused rows were left out: %(number)s.") % {"number": made["refused"]}
    return said
