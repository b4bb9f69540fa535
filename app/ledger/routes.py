"""Adjustments, voids and the journal."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from app.ledger import actions, queries
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.corrections import acts
from app.ledger.corrections.schemas import ActVoidIn, AdjustmentVoided
from app.ledger.schemas import (
    AdjustmentIn,
    AdjustmentLine,
    AdjustmentOut,
    EntryLine,
    Voided,
    VoidIn,
)
from app.shared.answers import ExactRoute
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.staff import Permission

router = APIRouter(route_class=ExactRoute, tags=["book"])

Adjuster = Annotated[Clerk, allowed(Permission.ADJUST)]
Corrector = Annotated[Clerk, allowed(Permission.VOID)]
UnitCode = Annotated[Code, Path(description="The code of a lot, sack, roast, blend, pack, …")]


@router.post("/adjustments", status_code=201, response_model=AdjustmentOut, dependencies=[Keyed])
def adjust(clerk: Adjuster, asked: AdjustmentIn) -> Response:
    """Make a sack, roast, blend or pack lighter or heavier, with the reason."""
    return clerk.write(actions.adjust, asked)


@router.get("/adjustments", response_model=Items[AdjustmentLine])
def list_adjustments(
    clerk: Reader, page: PageAsked, unit: Annotated[Code | None, Query()] = None
) -> Response:
    """List adjustments, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.adjustment_page, page, unit))


@router.post(
    "/adjustments/{number}/void",
    status_code=201,
    response_model=AdjustmentVoided,
    dependencies=[Keyed],
)
def void_adjustment(
    clerk: Corrector, number: Annotated[int, Path(ge=1, le=2**31 - 1)], asked: ActVoidIn
) -> Response:
    """Take back an adjustment that was booked by mistake, by one that reverses it."""
    return clerk.write(acts.void_adjustment, number, asked)


@router.post("/units/{code}/void", status_code=201, response_model=Voided, dependencies=[Keyed])
def void(clerk: Corrector, code: UnitCode, asked: VoidIn) -> Response:
    """Undo a mistaken roast, blend, pack, dispatch, return or lot.

    What something was made from goes only with all that was made from it: `with` names that, as
    `GET /units/{code}/impact` lists it.
    """
    return clerk.write(actions.void, code, asked)


@router.get("/entries", response_model=Items[EntryLine])
def list_entries(clerk: Reader, page: PageAsked) -> Response:
    """Read the journal: every write, oldest first, each with the hash that chains it."""
    return page_answer(clerk.request, *clerk.read(queries.journal_page, page))
