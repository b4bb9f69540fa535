"""Reusable crates."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.sending.crates import actions, queries
from app.sending.crates.schemas import (
    CrateBalance,
    CrateCountIn,
    CrateCountOut,
    CrateKindChange,
    CrateKindIn,
    CrateKindOut,
    CrateMovementIn,
    CrateMovementLine,
    CrateMovementOut,
)
from app.sending.crates.shelf import CRATE_KINDS
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("sending")

Sender = Annotated[Clerk, allowed(Permission.DISPATCH)]
Corrector = Annotated[Clerk, allowed(Permission.VOID)]
MovementNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/crate-kinds", status_code=201, response_model=CrateKindOut, dependencies=[Keyed])
def add_crate_kind(clerk: Sender, asked: CrateKindIn) -> Response:
    """Enter a sort of reusable crate."""
    return clerk.write(cards.add, CRATE_KINDS, asked)


@router.get("/crate-kinds", response_model=Items[CrateKindOut])
def list_crate_kinds(clerk: Reader, page: PageAsked) -> Response:
    """List sorts of crates."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, CRATE_KINDS, page))


@router.get("/crate-kinds/{name}", response_model=CrateKindOut)
def show_crate_kind(clerk: Reader, name: str) -> Response:
    """Show a sort of crate by name or number, with the `ETag` a change needs."""
    return cards.show(clerk, CRATE_KINDS, name)


@router.patch("/crate-kinds/{name}", response_model=CrateKindOut)
def change_crate_kind(
    clerk: Sender, name: str, asked: CrateKindChange, if_match: IfMatch = None
) -> Response:
    """Change a sort of crate."""
    return clerk.write(cards.change, CRATE_KINDS, name, asked, if_match)


@router.get("/crates", response_model=Items[CrateBalance])
def list_crates(clerk: Reader, page: PageAsked) -> Response:
    """Say how many crates of each kind are in the house and at each customer."""
    return page_answer(clerk.request, *clerk.read(queries.balance_page, page))


@router.post(
    "/crates/movements", status_code=201, response_model=CrateMovementOut, dependencies=[Keyed]
)
def move_crates(clerk: Sender, asked: CrateMovementIn) -> Response:
    """Book crates that went to a customer or came back without a dispatch or return."""
    return clerk.write(actions.move, asked)


@router.get("/crates/movements", response_model=Items[CrateMovementLine])
def list_crate_movements(
    clerk: Reader, page: PageAsked, customer: Annotated[str | None, Query(max_length=200)] = None
) -> Response:
    """List movements and counts of crates, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.movement_page, page, customer))


@router.post(
    "/crates/movements/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
)
def void_crate_movement(clerk: Corrector, number: MovementNumber, asked: ActVoidIn) -> Response:
    """Take back crates that travelled alone, or a count; all booked with it goes too.

    Crates that went with a dispatch or return are taken back by voiding that.
    """
    return clerk.write(actions.void, number, asked)


@router.post("/crates/counts", status_code=201, response_model=CrateCountOut, dependencies=[Keyed])
def count_crates(clerk: Sender, asked: CrateCountIn) -> Response:
    """Bring the book to a count of crates in the house or at a customer, with the reason."""
    return clerk.write(actions.count, asked)
