"""Purchase contracts."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.green.actions import SUPPLIERS
from app.green.contracts import actions, queries
from app.green.contracts.schemas import ContractChange, ContractIn, ContractLine, ContractOut
from app.ledger.cards import IfMatch, card_at
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.versions import holds

router = api_router("contracts")

ContractKeeper = Annotated[Clerk, allowed(Permission.CONTRACTS)]
Reference = Annotated[str, Path(max_length=40)]


@router.post("/contracts", status_code=201, response_model=ContractOut, dependencies=[Keyed])
def add_contract(clerk: ContractKeeper, asked: ContractIn) -> Response:
    """Enter a purchase contract."""
    # By place and not by name: so a replay by somebody who may not see prices is no replay.
    return clerk.write(actions.add_contract, asked, clerk.staff.may(Permission.PRICES))


@router.get("/contracts", response_model=Items[ContractLine])
def list_contracts(
    clerk: Reader,
    page: PageAsked,
    supplier: Annotated[str | None, Query(max_length=200)] = None,
) -> Response:
    """List contracts with what came of each so far, oldest first, of one supplier or of all."""
    known = supplier and clerk.read(card_at, SUPPLIERS, supplier)
    prices = clerk.staff.may(Permission.PRICES)
    found = clerk.read(
        queries.contract_page, page, known.id if known else None, clerk.settings, prices=prices
    )
    return page_answer(clerk.request, *found)


# A reference may have slashes in it.
@router.get("/contracts/{reference:path}", response_model=ContractOut)
def show_contract(clerk: Reader, reference: Reference) -> Response:
    """Show a contract: what was agreed, what holds, what came so far, and the `ETag`.

    The `ETag` changes with every delivery too; a change is held against the contract alone.
    """
    prices = clerk.staff.may(Permission.PRICES)
    found = clerk.read(queries.contract, reference, clerk.settings, prices=prices)
    if holds(clerk.request.headers.get("if-none-match"), found.etag):
        return Response(status_code=304, headers={"ETag": found.etag})
    return Answer(found, headers={"ETag": found.etag})


@router.patch("/contracts/{reference:path}", response_model=ContractOut)
def change_contract(
    clerk: ContractKeeper, reference: Reference, asked: ContractChange, if_match: IfMatch = None
) -> Response:
    """Change what was agreed; the reference and the supplier stay."""
    prices = clerk.staff.may(Permission.PRICES)
    return clerk.write(actions.change_contract, reference, asked, if_match, prices)
