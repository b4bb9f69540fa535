"""Cases and pallets."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending.cases import actions, queries
from app.sending.cases.naming import CaseCode
from app.sending.cases.schemas import CaseAddition, CaseBrief, CaseIn, CaseOut, TakenOut
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import MomentIn

router = api_router("sending")

Packer = Annotated[Clerk, allowed(Permission.PACK)]


@router.post("/cases", status_code=201, response_model=CaseOut, dependencies=[Keyed])
def build_case(clerk: Packer, asked: CaseIn) -> Response:
    """Put bags into a case, or cases and bags onto a pallet."""
    return clerk.write(actions.build, asked)


@router.get("/cases", response_model=Items[CaseBrief])
def list_cases(
    clerk: Reader, page: PageAsked, pack: Annotated[Code | None, Query()] = None
) -> Response:
    """List cases and pallets, oldest first; with `pack`, those that hold or held bags of it."""
    return page_answer(clerk.request, *clerk.read(queries.case_page, page, pack))


@router.get("/cases/{code}", response_model=CaseOut)
def show_case(
    clerk: Reader, code: CaseCode, at: Annotated[MomentIn | None, Query()] = None
) -> Response:
    """Show a case with what is in it now, or was in it at a time."""
    return Answer(clerk.read(queries.case_out, code, clerk.settings, at))


@router.post(
    "/cases/{code}/contents", status_code=201, response_model=CaseOut, dependencies=[Keyed]
)
def add_to_case(clerk: Packer, code: CaseCode, asked: CaseAddition) -> Response:
    """Put more into a case, or onto a pallet, that stands here."""
    return clerk.write(actions.add, code, asked)


@router.post(
    "/cases/{code}/take-apart", status_code=201, response_model=CaseOut, dependencies=[Keyed]
)
def take_case_apart(clerk: Packer, code: CaseCode, asked: TakenOut) -> Response:
    """Take something out of a case, or all of it: what is empty is not used again."""
    return clerk.write(actions.take_apart, code, asked)
