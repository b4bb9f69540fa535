"""Labels: order them, fetch them as a PDF, see what was printed before."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.labels import actions, queries
from app.labels.drawing import draw
from app.labels.schemas import LabelsIn, OrderLine, OrderOut
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer, Pdf
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("labels")

Printer = Annotated[Clerk, allowed(Permission.LABELS)]
OrderNumber = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of a print order")]


@router.post("/labels", status_code=201, response_model=OrderOut, dependencies=[Keyed])
def print_labels(clerk: Printer, asked: LabelsIn) -> Response:
    """Order labels of sacks, roasts, blends, packs, returns and places, or of a whole lot.

    The answer names the PDF. A code that was printed before is marked as a reprint.
    """
    return clerk.write(actions.print_labels, asked)


@router.get("/labels", response_model=Items[OrderLine])
def list_labels(
    clerk: Reader, page: PageAsked, unit: Annotated[Code | None, Query()] = None
) -> Response:
    """List print orders, oldest first; with `unit`, those with labels of one unit."""
    return page_answer(clerk.request, *clerk.read(queries.order_page, page, unit))


@router.get("/labels/{number}.pdf", response_class=Pdf)
def show_label_pdf(clerk: Reader, number: OrderNumber) -> Response:
    """Fetch the labels of a print order as a PDF, with what the book knows of each now."""
    job = clerk.read(queries.print_job, number, clerk.settings)
    name = f'inline; filename="labels-{number}.pdf"'
    return Pdf(draw(job), headers={"Content-Disposition": name})


@router.get("/labels/{number}", response_model=OrderOut)
def show_labels(clerk: Reader, number: OrderNumber) -> Response:
    """Show one print order with its codes."""
    return Answer(clerk.read(queries.order, number))
