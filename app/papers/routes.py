"""Papers to print."""

from fastapi import Response

from app.ledger.clerk import Reader
from app.papers import queries
from app.papers.case_labels import draw_case_label
from app.papers.drawing import draw_note
from app.sending.cases.naming import CaseCode
from app.shared.answers import Pdf, api_router
from app.shared.codes import Code

router = api_router("sending")


@router.get("/dispatches/{code}/delivery-note", response_class=Pdf)
def show_delivery_note(clerk: Reader, code: Code) -> Response:
    """Fetch the delivery note of a dispatch as a PDF; that of a voided one says so."""
    facts = clerk.read(queries.note_facts, code, clerk.settings)
    name = f'inline; filename="delivery-note-{facts.code}.pdf"'
    return Pdf(draw_note(facts), headers={"Content-Disposition": name})


@router.get("/cases/{code}/label", response_class=Pdf)
def show_case_label(clerk: Reader, code: CaseCode) -> Response:
    """Fetch the label of a case or pallet as a PDF: an SSCC as GS1-128, other codes as QR."""
    facts = clerk.read(queries.case_facts, code, clerk.settings)
    pdf = draw_case_label(facts, *clerk.settings.label_large_mm)
    return Pdf(pdf, headers={"Content-Disposition": f'inline; filename="case-{facts.code}.pdf"'})
