"""Papers to print."""

from fastapi import Response

from app.ledger.clerk import Reader
from app.papers import queries
from app.papers.case_labels import draw_case_label
from app.papers.drawing import draw_note
from app.sending.cases.naming import CaseCode
from app.shared.answers import Pdf
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.texts import speech_in

router = api_router("sending")


@router.get("/dispatches/{code}/delivery-note", response_class=Pdf)
def show_delivery_note(clerk: Reader, code: Code) -> Response:
    """Fetch the delivery note of a dispatch as a PDF, in the language of the house.

    That of a voided one says so.
    """
    facts = clerk.read(queries.note_facts, code, clerk.settings)
    note = draw_note(facts, speech_in(clerk.settings.house_language))
    name = f'inline; filename="delivery-note-{facts.code}.pdf"'
    return Pdf(note, headers={"Content-Disposition": name})


@router.get("/cases/{code}/label", response_class=Pdf)
def show_case_label(clerk: Reader, code: CaseCode) -> Response:
    """Fetch the label of a case or pallet as a PDF: an SSCC as GS1-128, other codes as QR.

    It speaks the language of the house.
    """
    facts = clerk.read(queries.case_facts, code, clerk.settings)
    speech = speech_in(clerk.settings.house_language)
    pdf = draw_case_label(facts, clerk.settings.label_large_mm, speech)
    return Pdf(pdf, headers={"Content-Disposition": f'inline; filename="case-{facts.code}.pdf"'})
