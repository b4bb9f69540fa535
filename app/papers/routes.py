"""Papers to print."""

from fastapi import APIRouter, Response

from app.ledger.clerk import Reader
from app.papers import queries
from app.papers.drawing import draw_note
from app.shared.answers import ExactRoute, Pdf
from app.shared.codes import Code

router = APIRouter(route_class=ExactRoute, tags=["sending"])


@router.get("/dispatches/{code}/delivery-note", response_class=Pdf)
def show_delivery_note(clerk: Reader, code: Code) -> Response:
    """Fetch the delivery note of a dispatch as a PDF; that of a voided one says so."""
    facts = clerk.read(queries.note_facts, code, clerk.settings)
    name = f'inline; filename="delivery-note-{facts.code}.pdf"'
    return Pdf(draw_note(facts), headers={"Content-Disposition": name})
