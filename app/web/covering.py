"""How long green lasts, for buyers: the board, the stock to come, what to order, what if."""

from typing import Annotated, Literal

from fastapi import Query, Response

from app.buying import queries
from app.buying.schemas import UseBy
from app.cover.frames import Asked
from app.cover.ordering import orders_and_suppliers
from app.cover.projecting import projection
from app.cover.routes import DaysAhead, KeyAsked
from app.cover.schemas import By, ItemBy, ProjectedDay, ProjectionOut, WhatIfIn, WhatIfOut
from app.cover.supposing import what_if
from app.cover.wording import why_text
from app.shared.answers import Pdf, Svg
from app.shared.names import fold_name
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.shared.texts import speech_in
from app.web.desk import Desk, Visiting
from app.web.forms import Form
from app.web.routing import page_router
from app.web.shown import kilograms, spoken
from app.web.tasks import Room, Task
from app.web.texts import N_, manner

router = page_router()

TASKS = (
    Task("/cover", N_("Days of cover"), Room.BUYING, Permission.PLANNING),
    Task("/cover/orders", N_("What to order"), Room.BUYING, Permission.PLANNING),
)
BYS = {
    "component": N_("component"), "origin": N_("origin"), "product": N_("product"),
    "lot": N_("lot"), "site": N_("site"),
}  # fmt: skip
AHEAD = (30, 90, 180, 366)
"""How many days ahead are offered."""
_WEEK = 7
_USUAL = Asked(None, None, None)


@router.get("/cover")
def show_board(desk: Visiting, by: By = "component") -> Response:
    """Show how many days of everything there are."""
    board = desk.read(queries.board, by, _USUAL, desk.settings)
    return desk.show("cover.html", board=board, bys=BYS)


@router.get("/cover/board.svg")
def draw_board(desk: Visiting, by: By = "component") -> Response:
    """Draw the board."""
    found = desk.read(queries.board, by, _USUAL, desk.settings)
    from app.buying.drawing import board_of  # noqa: PLC0415 - takes seconds to load

    return Svg(board_of(found, spoken(kilograms)).svg())


@router.get("/cover/projection")
def show_projection(
    desk: Visiting, key: KeyAsked, by: ItemBy = "component", days: DaysAhead = 90
) -> Response:
    """Show the stock to come as a picture and as a table, and ask what if."""
    found = desk.read(projection, by, key, days, desk.settings)
    form = desk.blank(WhatIfIn, by=by)
    return desk.show(
        "projection.html", found=found, weeks=weeks_of(found), days=days, ahead=AHEAD, supposed=form
    )


def weeks_of(found: ProjectionOut) -> list[tuple[ProjectedDay, ProjectedDay]]:
    """Sum the days up to whole weeks: the last day of each, and what was taken and came in it."""
    weeks = []
    for first in range(0, len(found.days), _WEEK):
        week = found.days[first : first + _WEEK]
        sums = {
            name: sum(getattr(day, name) for day in week)
            for name in ("planned_g", "arriving_g", "short_g")
        }
        weeks.append((week[0], week[-1].model_copy(update=sums)))
    return weeks


@router.get("/cover/projection.svg")
def draw_projection(
    desk: Visiting, key: KeyAsked, by: ItemBy = "component", days: DaysAhead = 90
) -> Response:
    """Draw the stock to come."""
    found = desk.read(projection, by, key, days, desk.settings)
    from app.buying.drawing import projection_of  # noqa: PLC0415 - takes seconds to load

    return Svg(projection_of(found, spoken(kilograms)).svg())


@router.get("/cover/use.svg")
def draw_use(desk: Visiting, key: KeyAsked, by: UseBy = "component") -> Response:
    """Draw what was used on each day."""
    found = desk.read(queries.use_by_day, by, key, _USUAL, desk.settings)
    from app.buying.drawing import use_of  # noqa: PLC0415 - takes seconds to load

    return Svg(use_of(found, spoken(kilograms)).svg())


@router.get("/cover/report.pdf")
def print_report(desk: Visiting) -> Response:
    """Print the buying report."""
    from app.buying import report  # noqa: PLC0415 - takes seconds to load

    found = desk.read(report.bought, desk.settings)
    name = f'inline; filename="buying-report-{found.orders.as_of}.pdf"'
    speech = speech_in(manner().language)
    return Pdf(report.draw_report(found, speech), headers={"Content-Disposition": name})


@router.post("/cover/what-if")
def suppose(desk: Visiting) -> Response:
    """Say what would be; nothing is booked."""
    form = desk.sent(WhatIfIn)
    return desk.show("what_if.html", form, supposed=form, told=_supposed(desk, form))


def _supposed(desk: Desk, form: Form[WhatIfIn]) -> WhatIfOut | None:
    if form.asked is None:
        return None
    try:
        return desk.read(what_if, form.asked, desk.settings)
    except Refused as refused:
        form.refuse(refused)
        return None


@router.get("/cover/orders")
def show_orders(
    desk: Visiting,
    by: ItemBy = "component",
    wanted: Annotated[Literal["due", "all"], Query()] = "all",
) -> Response:
    """Show what is to be ordered by when, and of whom it was bought last."""
    found, bought_of = desk.read(orders_and_suppliers, by, desk.settings)
    items = [each for each in found.items if each.due or (wanted == "all" and each.order_by)]
    return desk.show(
        "order_list.html", found=found, items=items, wanted=wanted, bys=BYS,
        bought_of=lambda key: bought_of.get(fold_name(key)),
        why=lambda each: why_text(each, spoken()),
    )  # fmt: skip
