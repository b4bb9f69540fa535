"""The evidence of a case, to sign and to sort."""

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Any, Final

from fastapi import Response

from app.ledger.clerk import Clerk, Reader
from app.recall.evidence.drawing import draw_report
from app.recall.evidence.files import archive, event_file, workbook
from app.recall.evidence.reading import Evidence, evidence
from app.recall.routes import CaseCode
from app.shared.answers import Pdf
from app.shared.routing import api_router
from app.shared.speech import PLAIN, Speech

router = api_router("recall")


class Xlsx(Response):
    """A workbook."""

    media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Csv(Response):
    """A table."""

    media_type = "text/csv"


class Zip(Response):
    """Tables and what is needed to read them."""

    media_type = "application/zip"


def _described(kind: type[Response]) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {str(kind.media_type): {"schema": {"type": "string"}}}}}


class Ending(StrEnum):
    """The files of a case."""

    PDF = "pdf"
    XLSX = "xlsx"
    CSV = "csv"
    ZIP = "zip"


_FILES: Final[Mapping[Ending, tuple[type[Response], Callable[[Evidence, Speech], bytes]]]] = {
    Ending.PDF: (Pdf, draw_report),
    Ending.XLSX: (Xlsx, workbook),
    Ending.CSV: (Csv, lambda found, _speech: event_file(found)),
    Ending.ZIP: (Zip, archive),
}
"""Of what kind each is, and what writes it."""


def evidence_file(clerk: Clerk, code: str, ending: Ending, speech: Speech = PLAIN) -> Response:
    """Read the evidence of a case and write it as a file, in a language."""
    found = clerk.read(evidence, code, clerk.settings)
    what = "drill" if found.case.drill else "recall"
    kind, write = _FILES[ending]
    name = f'inline; filename="{what}-{found.case.code}.{ending}"'
    return kind(write(found, speech), headers={"Content-Disposition": name})


@router.get("/recalls/{code}/report.pdf", response_class=Pdf)
def show_recall_report(clerk: Reader, code: CaseCode) -> Response:
    """Fetch the report of a case as a PDF, to read and to sign.

    Units are listed as far as they can be read; all of them stand in the workbook. A drill's says
    so on every page.
    """
    return evidence_file(clerk, code, Ending.PDF)


@router.get("/recalls/{code}/report.xlsx", response_class=Xlsx, responses=_described(Xlsx))
def show_recall_workbook(clerk: Reader, code: CaseCode) -> Response:
    """Fetch a case as a workbook to be sorted: units, events, flows, consignees, log, codes.

    The sheet of events has one row per unit and event; the last sheet explains every code.
    """
    return evidence_file(clerk, code, Ending.XLSX)


@router.get("/recalls/{code}/report.csv", response_class=Csv, responses=_described(Csv))
def show_recall_events(clerk: Reader, code: CaseCode) -> Response:
    """Fetch one row per unit and event as CSV; the archive has the code list beside it."""
    return evidence_file(clerk, code, Ending.CSV)


@router.get("/recalls/{code}/report.zip", response_class=Zip, responses=_described(Zip))
def show_recall_files(clerk: Reader, code: CaseCode) -> Response:
    """Fetch every table of a case as CSV files, with the code list and how to read them."""
    return evidence_file(clerk, code, Ending.ZIP)
