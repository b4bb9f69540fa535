"""The task of printing labels: of a lot sack by sack, of any codes, of places; and again."""

from typing import Annotated, Final

from fastapi import Path, Response
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.labels import actions, queries
from app.labels.drawing import draw
from app.labels.schemas import LabelsIn, OrderLine
from app.labels.tables import LabelOrder
from app.ledger.tables import UnitKind
from app.shared.answers import Pdf
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/labels", N_("Print labels"), Room.STORE, Permission.LABELS),)
_LABELLED: Final = frozenset(UnitKind) - {UnitKind.LOT, UnitKind.DISPATCH}
OFFERS = (
    Offer(
        "/labels?codes={code}", N_("Print its label"), Permission.LABELS, _LABELLED,
        likely=frozenset({UnitKind.BLEND, UnitKind.RETURN}),
    ),
    Offer(
        "/labels?lot={code}", N_("Print labels of its sacks"), Permission.LABELS,
        frozenset({UnitKind.LOT}),
    ),
)  # fmt: skip

Printer = Annotated[Desk, may(Permission.LABELS)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]

_LATEST: Final = 10


def _latest(session: Session) -> list[OrderLine]:
    """Read the newest print orders, the newest first."""
    newest = session.scalar(select(func.max(col(LabelOrder.id)))) or 0
    rows, _following = queries.order_page(session, Page(_LATEST, max(0, newest - _LATEST)), None)
    return [OrderLine.model_validate(row) for row in reversed(rows)]


def _page(desk: Desk, form: Form[LabelsIn]) -> Response:
    return desk.show(
        "labels.html", form, latest=desk.read(_latest),
        sizes=[("large", _("large")), ("small", _("small"))],
        sheets=[("a4", _("A4 sheets")), ("letter", _("letter sheets"))],
    )  # fmt: skip


@router.get("/labels")
def show_labels(desk: Printer) -> Response:
    """Ask of what labels are wanted, and on what."""
    return _page(desk, desk.blank(LabelsIn, size="large"))


@router.post("/labels")
def print_labels(desk: Printer) -> Response:
    """Order the labels, and lead to their PDF."""
    form = desk.sent(LabelsIn)
    if ordered := desk.book(form, actions.print_labels):
        return desk.onward(f"/labels/{ordered['id']}", _("Ready to be printed."))
    return _page(desk, form)


@router.get("/labels/{number}.pdf")
def show_pdf(desk: Visiting, number: Number) -> Response:
    """Serve the labels as a PDF, as the API does."""
    job = desk.read(queries.print_job, number, desk.settings)
    named = {"Content-Disposition": f'inline; filename="labels-{number}.pdf"'}
    return Pdf(draw(job), headers=named)


@router.get("/labels/{number}")
def show_order(desk: Visiting, number: Number) -> Response:
    """Show an order: its PDF, its codes, and how to print some of them again."""
    return desk.show("label_order.html", order=desk.read(queries.order, number))
