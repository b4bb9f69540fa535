"""Stock counts."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.green.counting import actions, queries
from app.green.counting.rules import Status
from app.green.counting.schemas import (
    ApprovalIn,
    CountBrief,
    CountedLine,
    CountIn,
    CountLinesIn,
    CountNoted,
    CountOut,
    RejectionIn,
    SheetOut,
)
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("green")

Counter = Annotated[Clerk, allowed(Permission.COUNT)]
Approver = Annotated[Clerk, allowed(Permission.APPROVE_COUNT)]
CountNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/counts", status_code=201, response_model=CountOut, dependencies=[Keyed])
def open_count(clerk: Counter, asked: CountIn) -> Response:
    """Open a count of what stands at a place and below it, or of one lot."""
    return clerk.write(actions.begin, asked)


@router.get("/counts", response_model=Items[CountBrief])
def list_counts(
    clerk: Reader, page: PageAsked, status: Annotated[Status | None, Query()] = None
) -> Response:
    """List counts, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.count_page, page, status))


@router.get("/counts/{number}", response_model=CountOut)
def show_count(clerk: Reader, number: CountNumber) -> Response:
    """Show a count; book against counted once counting has ended."""
    return Answer(clerk.read(queries.count, number))


@router.get("/counts/{number}/sheet", response_model=SheetOut)
def show_count_sheet(clerk: Reader, number: CountNumber) -> Response:
    """Show the blind sheet: places and codes of sacks, and no mass."""
    return Answer(clerk.read(queries.sheet, number))


@router.post(
    "/counts/{number}/lines", status_code=201, response_model=CountNoted, dependencies=[Keyed]
)
def take_down_count(clerk: Counter, number: CountNumber, asked: CountLinesIn) -> Response:
    """Take down what was found; several people may, and a sack counted again counts anew."""
    return clerk.write(actions.take_down, number, asked)


@router.get("/counts/{number}/lines", response_model=Items[CountedLine])
def list_count_lines(clerk: Reader, number: CountNumber, page: PageAsked) -> Response:
    """List every line of a count that has ended, those that a later one replaced too."""
    return page_answer(clerk.request, *clerk.read(queries.line_page, page, number))


@router.post(
    "/counts/{number}/close", status_code=201, response_model=CountOut, dependencies=[Keyed]
)
def close_count(clerk: Counter, number: CountNumber) -> Response:
    """End counting: what was found is shown from now on."""
    return clerk.write(actions.close, number)


@router.post(
    "/counts/{number}/approve", status_code=201, response_model=CountOut, dependencies=[Keyed]
)
def approve_count(clerk: Approver, number: CountNumber, asked: ApprovalIn) -> Response:
    """Book every variance in one entry; not by anybody who opened the count or counted."""
    return clerk.write(actions.approve, number, asked)


@router.post(
    "/counts/{number}/reject", status_code=201, response_model=CountOut, dependencies=[Keyed]
)
def reject_count(clerk: Approver, number: CountNumber, asked: RejectionIn) -> Response:
    """Reject a count, or give up an open one; nothing is booked."""
    return clerk.write(actions.reject, number, asked)
