"""Planned batches."""

from typing import Annotated

from fastapi import Depends, Path, Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.roasting.batches import actions, queries
from app.roasting.batches.queries import Wanted
from app.roasting.batches.schemas import (
    BatchCancelIn,
    BatchesIn,
    BatchesOut,
    BatchOut,
    BatchState,
)
from app.shared.answers import Answer
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import Day

router = api_router("production")

Planner = Annotated[Clerk, allowed(Permission.PLAN)]
BatchNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


async def _batches_asked(
    state: BatchState | None = None,
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> Wanted:
    return Wanted(state, first, last)


@router.post("/batches", status_code=201, response_model=BatchesOut, dependencies=[Keyed])
def plan_batches(clerk: Planner, asked: BatchesIn) -> Response:
    """Plan batches of a style for a day; their green is reserved."""
    return clerk.write(actions.plan, asked)


@router.get("/batches", response_model=Items[BatchOut])
def list_batches(
    clerk: Reader, page: PageAsked, wanted: Annotated[Wanted, Depends(_batches_asked)]
) -> Response:
    """List planned batches in the order they were planned."""
    return page_answer(clerk.request, *clerk.read(queries.batch_page, page, wanted))


@router.get("/batches/{number}", response_model=BatchOut)
def show_batch(clerk: Reader, number: BatchNumber) -> Response:
    """Show a planned batch: what is reserved for it, and the roast that was made of it."""
    return Answer(clerk.read(queries.batch, number))


@router.post(
    "/batches/{number}/cancel", status_code=201, response_model=BatchOut, dependencies=[Keyed]
)
def cancel_batch(clerk: Planner, number: BatchNumber, asked: BatchCancelIn) -> Response:
    """Cancel a planned batch; its green is free again."""
    return clerk.write(actions.cancel, number, asked)
