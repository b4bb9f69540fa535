"""Checks of weight."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.packing.weighing import actions, queries, voids
from app.packing.weighing.schemas import CheckWeighingIn, CheckWeighingOut
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("packing")

Weigher = Annotated[Clerk, allowed(Permission.WEIGH)]
Corrector = Annotated[Clerk, allowed(Permission.VOID)]


@router.post(
    "/packs/{code}/check-weighings",
    status_code=201,
    response_model=CheckWeighingOut,
    dependencies=[Keyed],
)
def weigh(clerk: Weigher, code: Code, asked: CheckWeighingIn) -> Response:
    """Record the weights of bags of a pack and judge them by the average system."""
    return clerk.write(actions.weigh, code, asked)


@router.post(
    "/check-weighings/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
)
def void_check(
    clerk: Corrector, number: Annotated[int, Path(ge=1, le=2**31 - 1)], asked: ActVoidIn
) -> Response:
    """Take back a check that was recorded by mistake; it stays to be read, marked as voided."""
    return clerk.write(voids.void_check, number, asked)


@router.get("/check-weighings", response_model=Items[CheckWeighingOut])
def list_checks(
    clerk: Reader, page: PageAsked, pack: Annotated[Code | None, Query()] = None
) -> Response:
    """List checks of weight, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.check_page, page, pack))


@router.get("/check-weighings/{check_id}", response_model=CheckWeighingOut)
def show_check(clerk: Reader, check_id: Annotated[int, Path(ge=1, le=2**31 - 1)]) -> Response:
    """Show a check of weight with its weights and what the rules say of them."""
    return Answer(clerk.read(queries.check, check_id))
