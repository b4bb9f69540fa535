"""Plots of a lot, what is known of its due diligence, and the firm's role for a delivery."""

from typing import Annotated, Any, Final

from fastapi import Depends, Path, Request, Response

from app.green.evidence import actions, queries
from app.green.evidence.schemas import (
    DueDiligenceIn,
    DueDiligenceOut,
    GivenPlots,
    PlotFileOut,
    RoleIn,
    RoleOut,
)
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.bodies import body_of
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.standards.geolocation import LARGEST_BYTES, FlawedPlotsError

router = api_router("green")

EvidenceKeeper = Annotated[Clerk, allowed(Permission.EVIDENCE)]
FileNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]

_GEOJSON: Final = "application/geo+json"
_SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "description": "GeoJSON (RFC 7946): plots as points with their `Area`, or as outlines.",
    "required": ["type"],
    "properties": {"type": {"type": "string"}},
}
_FILE_ASKED: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {kind: {"schema": _SCHEMA} for kind in ("application/json", _GEOJSON)},
    }
}


class GeoJson(Response):
    """A file of plots (media type: RFC 7946, section 12)."""

    media_type = _GEOJSON


_FILE_ANSWERED: Final[dict[int | str, dict[str, Any]]] = {
    200: {"content": {_GEOJSON: {"schema": _SCHEMA}}}
}


async def _body(request: Request) -> bytes:
    kinds = {"application/json", _GEOJSON}
    return await body_of(request, kinds, LARGEST_BYTES, "A file of plots")


def _given(content: Annotated[bytes, Depends(_body)]) -> GivenPlots:
    """Look through the file before anybody waits for the pen: a large one takes a while."""
    try:
        return GivenPlots.of(content)
    except FlawedPlotsError as error:
        raise _flawed(error) from error


def _flawed(error: FlawedPlotsError) -> Refused:
    named, count = error.flaws.named, error.flaws.count
    more = f" (and {count - 1} more)" if count > 1 else ""
    return Refused(
        "invalid",
        f"{named[0].pointer}: {named[0].detail}{more}",
        flaws=count,
        errors=[
            {"pointer": flaw.pointer, "feature": flaw.feature, "detail": flaw.detail}
            for flaw in named
        ],
    )


Given = Annotated[GivenPlots, Depends(_given)]


@router.post(
    "/lots/{code}/plots",
    status_code=201,
    response_model=PlotFileOut,
    dependencies=[Keyed],
    openapi_extra=_FILE_ASKED,
)
def file_plots(clerk: EvidenceKeeper, code: Code, given: Given) -> Response:
    """Put the plots behind a lot on record: the body is the GeoJSON file itself.

    Every flaw is named with the number of its feature and its place; a file with one is not
    taken. A newer file supersedes the one before, and both stay on record as they were given.
    """
    return clerk.write(actions.file_plots, code, given)


@router.get("/lots/{code}/plots", response_class=GeoJson, responses=_FILE_ANSWERED)
def show_plots(clerk: Reader, code: Code) -> Response:
    """Write the plots of a lot for handing over, with exactly six decimals."""
    return GeoJson(clerk.read(queries.plots, code))


@router.get("/lots/{code}/plot-files", response_model=Items[PlotFileOut])
def list_plot_files(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the plot files of a lot, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.file_page, page, code))


@router.get("/lots/{code}/plot-files/{number}", response_class=GeoJson, responses=_FILE_ANSWERED)
def show_plot_file(clerk: Reader, code: Code, number: FileNumber) -> Response:
    """Show a plot file as it was given, to the byte."""
    return GeoJson(clerk.read(queries.given_file, code, number))


@router.post(
    "/lots/{code}/due-diligence",
    status_code=201,
    response_model=DueDiligenceOut,
    dependencies=[Keyed],
)
def record_due_diligence(clerk: EvidenceKeeper, code: Code, asked: DueDiligenceIn) -> Response:
    """Record statements, time of production and HS code of a lot, or that there is no evidence."""
    return clerk.write(actions.record, code, asked)


@router.get("/lots/{code}/due-diligence", response_model=Items[DueDiligenceOut])
def list_due_diligence(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List all that was recorded of a lot, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.due_diligence_page, page, code))


@router.post(
    "/deliveries/{code}/due-diligence",
    status_code=201,
    response_model=RoleOut,
    dependencies=[Keyed],
)
def set_role(clerk: EvidenceKeeper, code: str, asked: RoleIn) -> Response:
    """Say whether the firm is operator or trader for a delivery, or neither."""
    return clerk.write(actions.set_role, code, asked)
