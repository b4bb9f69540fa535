"""The task of printing labels."""

from typing import Annotated, Final

from fastapi import APIRouter, Response

from app.labels import actions, queries
from app.labels.drawing import draw
from app.labels.routes import OrderNumber
from app.labels.schemas import LabelsIn
from app.labels.sheets import Paper, Size
from app.ledger.tables import UnitKind
from app.shared.answers import Pdf
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.offers import Offer
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = APIRouter(include_in_schema=False)

TASKS = (Task("/labels", N_("Print labels"), Room.STORE, Permission.LABELS),)
_LABELLED: Final = frozenset(UnitKind) - {UnitKind.LOT, UnitKind.DISPATCH}
OFFERS = (
    Offer("/labels?codes={code}", N_("Print its label"), Permission.LABELS, _LABELLED),
    Offer(
        "/labels?lot={code}", N_("Print labels of its sacks"), Permission.LABELS,
        frozenset({UnitKind.LOT}),
    ),
)  # fmt: skip

Printer = Annotated[Desk, may(Permission.LABELS)]


def _page(desk: Desk, form: Form[LabelsIn]) -> Response:
    sizes, papers = [(each.value, each.value) for each in Size], [each.value for each in Paper]
    return desk.show("labels.html", form, sizes=sizes, papers=[(each, each) for each in papers])


@router.get("/labels")
def show_labels(desk: Printer) -> Response:
    """Ask which labels."""
    return _page(desk, desk.blank(LabelsIn, size=Size.LARGE.value))


@router.post("/labels")
def print_labels(desk: Printer) -> Response:
    """Order them and go on to the PDF."""
    form = desk.sent(LabelsIn)
    if ordered := desk.book(form, actions.print_labels):
        return desk.onward(f"/labels/{ordered['id']}", _("The labels are ready to be printed."))
    return _page(desk, form)


@router.get("/labels/{number}")
def show_order(desk: Visiting, number: OrderNumber) -> Response:
    """Show what was ordered, and where its PDF is."""
    return desk.show("labels_ready.html", order=desk.read(queries.order, number))


@router.get("/labels/{number}/labels.pdf")
def fetch_labels(desk: Visiting, number: OrderNumber) -> Response:
    """Fetch the labels as a PDF."""
    job = desk.read(queries.print_job, number, desk.settings)
    return Pdf(
        draw(job), headers={"Content-Disposition": f'inline; filename="labels-{number}.pdf"'}
    )
