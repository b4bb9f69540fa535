"""Adjustments and the journal."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger import queries
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.corrections import acts
from app.ledger.corrections.schemas import ActVoidIn, AdjustmentVoided
from app.ledger.schemas import (
    AdjustmentLine,
    EntryLine,
)
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("book")

Corrector = Annotated[Clerk, allowed(Permission.VOID)]


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


@router.get("/entries", response_model=Items[EntryLine])
def list_entries(clerk: Reader, page: PageAsked) -> Response:
    """Read the journal: every write, oldest first, each with the hash that chains it."""
    return page_answer(clerk.request, *clerk.read(queries.journal_page, page))
