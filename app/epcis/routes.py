"""Documents of EPCIS 2.0: what happened told to others, and what others tell."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from fastapi import Depends, Query, Request, Response
from sqlmodel import Session

from app.epcis import documents, proposing
from app.epcis.schemas import ProposalsOut, TellIn
from app.ledger.clerk import Reader
from app.settings import Settings
from app.shared.answers import Answer
from app.shared.bodies import body_of
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.turns import reads
from app.tracing.schemas import Direction

router = api_router("epcis")

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
_KINDS: Final = ("application/json", _JSON_LD)
_LARGEST_BYTES: Final = 10_000_000
_SENT: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {kind: {"schema": {"type": "object"}} for kind in _KINDS},
    }
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


async def _body(request: Request) -> bytes:
    return await body_of(request, _KINDS, _LARGEST_BYTES, "A document of EPCIS")


def _given(request: Request, content: Annotated[bytes, Depends(_body)]) -> Mapping[str, Any]:
    return proposing.read_document(content, request.app.state.settings)


@router.post("/epcis/proposals", response_model=ProposalsOut, openapi_extra=_SENT)
@reads
def propose_deliveries(
    clerk: Reader, document: Annotated[Mapping[str, Any], Depends(_given)]
) -> Response:
    """Read a document of a supplier or a packer; what it says came is proposed as deliveries.

    Nothing is booked: look a proposal over, complete it, and send it to `POST /deliveries`. A
    document that is not of EPCIS 2.0, or says what cannot be, is refused with each place and rule.
    """
    return Answer(clerk.read(proposing.propose, document))
