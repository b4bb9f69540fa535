"""Which bags to send first."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.sending.picking import actions, queries
from app.sending.picking.schemas import (
    CancelIn,
    PickBrief,
    PickIn,
    PickOut,
    PickSuggestion,
    WantAsked,
    one_purpose,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("sending")

Sender = Annotated[Clerk, allowed(Permission.DISPATCH)]
PickNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.get("/picks/suggestion", response_model=PickSuggestion)
def suggest_pick(
    clerk: Reader, want: WantAsked = None, order: Annotated[Code | None, Query()] = None
) -> Response:
    """Suggest which bags to send: the oldest best-before first. Nothing is kept by it.

    Name either what is wanted or an order, for what it still wants.
    """
    lines = one_purpose(want, order)
    return Answer(clerk.read(queries.suggestion, lines, order, clerk.settings))


@router.post("/picks", status_code=201, response_model=PickOut, dependencies=[Keyed])
def record_pick(clerk: Sender, asked: PickIn) -> Response:
    """Keep the suggested bags for a while, or others with the reason."""
    return clerk.write(actions.record, asked)


@router.get("/picks", response_model=Items[PickBrief])
def list_picks(
    clerk: Reader, page: PageAsked, opened: Annotated[bool | None, Query(alias="open")] = None
) -> Response:
    """List picks, oldest first; `open=true` for those that keep bags now."""
    return page_answer(clerk.request, *clerk.read(queries.pick_page, page, opened))


@router.get("/picks/{number}", response_model=PickOut)
def show_pick(clerk: Reader, number: PickNumber) -> Response:
    """Show a pick and how it ended."""
    return Answer(clerk.read(queries.pick, number, clerk.settings))


@router.post(
    "/picks/{number}/cancel", status_code=201, response_model=PickOut, dependencies=[Keyed]
)
def cancel_pick(clerk: Sender, number: PickNumber, asked: CancelIn) -> Response:
    """Give the bags of a pick free again."""
    return clerk.write(actions.cancel, number, asked)
