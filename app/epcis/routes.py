"""Documents of EPCIS 2.0: what happened, told to others."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Response
from sqlmodel import Session

from app.epcis import documents
from app.epcis.schemas import TellIn
from app.ledger.clerk import Reader
from app.settings import Settings
from app.shared.answers import Answer, ExactRoute
from app.shared.problems import Refused
from app.tracing.schemas import Direction

router = APIRouter(route_class=ExactRoute, tags=["epcis"])

_JSON_LD: Final = "application/ld+json"
_SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "description": "An EPCIS 2.0 document as JSON-LD.",
    "required": ["@context", "type", "schemaVersion", "creationDate", "epcisBody"],
    "properties": {"type": {"const": "EPCISDocument"}, "schemaVersion": {"const": "2.0"}},
}
_ANSWERED: Final[dict[int | str, dict[str, Any]]] = {
    200: {"content": {_JSON_LD: {"schema": _SCHEMA}}}
}


class JsonLd(Answer):
    """A document of linked data (JSON-LD 1.1, section 8: its media type)."""

    media_type = _JSON_LD


@router.get("/epcis", response_class=JsonLd, responses=_ANSWERED)
def tell(clerk: Reader, asked: Annotated[TellIn, Query()]) -> Response:
    """Tell as an EPCIS 2.0 document what the book says of a trace, a recall or a time.

    Give `code` and perhaps `direction`, or `recall` and the number of its frozen `scope`, or `from`
    and `to`. An event is told whole where any unit of it is asked for. What was voided is told
    with the declaration that it was wrong, and what was booked in its place names it.
    """
    return JsonLd(clerk.read(_told, clerk.settings, asked))


def _told(session: Session, settings: Settings, asked: TellIn) -> Mapping[str, Any]:
    flaw = asked.flaw()
    if flaw is not None:
        parameter, why = flaw
        raise Refused("invalid", f"{parameter}: {why}", errors=[
            {"parameter": parameter, "detail": why},
        ])  # fmt: skip
    if asked.code is not None:
        way = asked.direction or Direction.FORWARD
        return documents.trace_document(session, settings, asked.code, way)
    if asked.recall is not None and asked.scope is not None:
        return documents.recall_document(session, settings, asked.recall, asked.scope)
    assert asked.since is not None  # noqa: S101 - looked at above
    assert asked.until is not None  # noqa: S101 - looked at above
    return documents.period_document(session, settings, asked.since, asked.until)
