"""The evidence of a case, to sign and to sort."""

from typing import Any

from fastapi import Response

from app.ledger.clerk import Clerk, Reader
from app.recall.evidence.drawing import draw_report
from app.recall.evidence.files import archive, event_file, workbook
from app.recall.evidence.reading import Evidence, evidence
from app.recall.routes import CaseCode
from app.shared.answers import Pdf, api_router

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


def _found(clerk: Clerk, code: str) -> Evidence:
    return clerk.read(evidence, code, clerk.settings)


def _named(found: Evidence, ending: str) -> dict[str, str]:
    what = "drill" if found.case.drill else "recall"
    return {"Content-Disposition": f'inline; filename="{what}-{found.case.code}.{ending}"'}


@router.get("/recalls/{code}/report.pdf", response_class=Pdf)
def show_recall_report(clerk: Reader, code: CaseCode) -> Response:
    """Fetch the report of a case as a PDF, to read and to sign.

    Units are listed as far as they can be read; all of them stand in the workbook. A drill's says
    so on every page.
    """
    found = _found(clerk, code)
    return Pdf(draw_report(found), headers=_named(found, "pdf"))


@router.get("/recalls/{code}/report.xlsx", response_class=Xlsx, responses=_described(Xlsx))
def show_recall_workbook(clerk: Reader, code: CaseCode) -> Response:
    """Fetch a case as a workbook to be sorted: units, events, flows, consignees, log, codes.

    The sheet of events has one row per unit and event; the last sheet explains every code.
    """
    found = _found(clerk, code)
    return Xlsx(workbook(found), headers=_named(found, "xlsx"))


@router.get("/recalls/{code}/report.csv", response_class=Csv, responses=_described(Csv))
def show_recall_events(clerk: Reader, code: CaseCode) -> Response:
    """Fetch one row per unit and event as CSV; the archive has the code list beside it."""
    found = _found(clerk, code)
    return Csv(event_file(found), headers=_named(found, "csv"))


@router.get("/recalls/{code}/report.zip", response_class=Zip, responses=_described(Zip))
def show_recall_files(clerk: Reader, code: CaseCode) -> Response:
    """Fetch every table of a case as CSV files, with the code list and how to read them."""
    found = _found(clerk, code)
    return Zip(archive(found), headers=_named(found, "zip"))
