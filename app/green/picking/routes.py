"""Which sacks to take coffee from."""

from typing import Annotated

from fastapi import Path, Response

from app.green.picking import actions, queries
from app.green.picking.schemas import (
    KgAsked,
    LotsAsked,
    PickListBrief,
    PickListIn,
    PickListOut,
    PickSuggestion,
)
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("green")

Picker = Annotated[Clerk, allowed(Permission.PICK)]
ListNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.get("/pick-list", response_model=PickSuggestion)
def suggest_pick_list(clerk: Reader, lots: LotsAsked, grams: KgAsked) -> Response:
    """Suggest which sacks of a lot, or of like lots, to take so much from.

    Part sacks come first, then the oldest crop, the oldest arrival, the lowest number. Nothing is
    reserved.
    """
    return Answer(clerk.read(queries.suggestion, lots, grams, clerk.settings))


@router.post("/pick-lists", status_code=201, response_model=PickListOut, dependencies=[Keyed])
def record_pick_list(clerk: Picker, asked: PickListIn) -> Response:
    """Put a pick list on record: the suggestion, or another choice with its reason."""
    return clerk.write(actions.record, asked)


@router.get("/pick-lists", response_model=Items[PickListBrief])
def list_pick_lists(clerk: Reader, page: PageAsked) -> Response:
    """List pick lists, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.pick_list_page, page))


@router.get("/pick-lists/{number}", response_model=PickListOut)
def show_pick_list(clerk: Reader, number: ListNumber) -> Response:
    """Show a pick list as it was made."""
    return Answer(clerk.read(queries.pick_list, number, clerk.settings))
