"""Packing materials and their lots."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.ledger.schemas import ReleaseIn
from app.packing.materials import actions, queries, voids
from app.packing.materials.queries import MATERIALS
from app.packing.materials.schemas import (
    LotChanged,
    LotChangeIn,
    LotChangeOut,
    LotHoldIn,
    LotHoldOut,
    MaterialChangeIn,
    MaterialIn,
    MaterialLotIn,
    MaterialLotOut,
    MaterialOut,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("packing")

MaterialKeeper = Annotated[Clerk, allowed(Permission.MATERIALS)]
Stopper = Annotated[Clerk, allowed(Permission.HOLD)]
Releaser = Annotated[Clerk, allowed(Permission.RELEASE)]
Corrector = Annotated[Clerk, allowed(Permission.VOID)]
ChangeNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
HoldNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/materials", status_code=201, response_model=MaterialOut, dependencies=[Keyed])
def add_material(clerk: MaterialKeeper, asked: MaterialIn) -> Response:
    """Enter a packing material: a film, a bag, a valve, a label, a case."""
    return clerk.write(cards.add, MATERIALS, asked)


@router.get("/materials", response_model=Items[MaterialOut])
def list_materials(clerk: Reader, page: PageAsked) -> Response:
    """List packing materials."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, MATERIALS, page))


@router.get("/materials/{code}", response_model=MaterialOut)
def show_material(clerk: Reader, code: str) -> Response:
    """Show a packing material, with the `ETag` a change needs."""
    return cards.show(clerk, MATERIALS, code)


@router.patch("/materials/{code}", response_model=MaterialOut)
def change_material(
    clerk: MaterialKeeper, code: str, asked: MaterialChangeIn, if_match: IfMatch = None
) -> Response:
    """Change a packing material; its code, kind and unit stay."""
    return clerk.write(cards.change, MATERIALS, code, asked, if_match)


@router.post("/material-lots", status_code=201, response_model=MaterialLotOut, dependencies=[Keyed])
def take_in_material_lot(clerk: MaterialKeeper, asked: MaterialLotIn) -> Response:
    """Book a lot of packing material that came."""
    return clerk.write(actions.take_in, asked)


@router.get("/material-lots", response_model=Items[MaterialLotOut])
def list_material_lots(
    clerk: Reader,
    page: PageAsked,
    material: Annotated[str | None, Query(max_length=32)] = None,
    on_hand: bool | None = None,
) -> Response:
    """List lots of packing material, oldest first, with what is left of each."""
    return page_answer(clerk.request, *clerk.read(queries.lot_page, page, material, on_hand))


@router.get("/material-lots/{code}", response_model=MaterialLotOut)
def show_material_lot(clerk: Reader, code: Code) -> Response:
    """Show a lot of packing material, and where all of it went."""
    return Answer(clerk.read(queries.lot, code))


@router.post(
    "/material-lots/{code}/changes", status_code=201, response_model=LotChanged,
    dependencies=[Keyed],
)  # fmt: skip
def change_material_lot(clerk: MaterialKeeper, code: Code, asked: LotChangeIn) -> Response:
    """Let the book follow a count of a lot, or write some of it off, with the reason."""
    return clerk.write(actions.change_lot, code, asked)


@router.get("/material-lots/{code}/changes", response_model=Items[LotChangeOut])
def list_material_lot_changes(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the counts and write-offs of a lot, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.change_page, page, code))


@router.post(
    "/material-lots/{code}/void", status_code=201, response_model=ActVoided, dependencies=[Keyed]
)
def void_material_lot(clerk: Corrector, code: Code, asked: ActVoidIn) -> Response:
    """Take back a lot of packing material that was taken in by mistake and that no pack used."""
    may_release = clerk.staff.may(Permission.RELEASE)
    return clerk.write(voids.void_lot, code, asked, may_release=may_release)


@router.post(
    "/material-lots/{code}/changes/{number}/void", status_code=201, response_model=ActVoided,
    dependencies=[Keyed],
)  # fmt: skip
def void_material_lot_change(
    clerk: Corrector, code: Code, number: ChangeNumber, asked: ActVoidIn
) -> Response:
    """Take back a count or a write-off of a lot; it stays, marked as voided."""
    return clerk.write(voids.void_change, code, number, asked)


@router.post(
    "/material-lots/{code}/holds", status_code=201, response_model=LotHoldOut, dependencies=[Keyed]
)
def hold_material_lot(clerk: Stopper, code: Code, asked: LotHoldIn) -> Response:
    """Stop a lot of packing material: no pack uses it until it is released."""
    return clerk.write(actions.hold_lot, code, asked)


@router.get("/material-lots/{code}/holds", response_model=Items[LotHoldOut])
def list_material_lot_holds(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the holds of a lot of packing material, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.hold_page, page, code))


@router.post(
    "/material-holds/{number}/release", status_code=201, response_model=LotHoldOut,
    dependencies=[Keyed],
)  # fmt: skip
def release_material_lot(clerk: Releaser, number: HoldNumber, asked: ReleaseIn) -> Response:
    """End the hold of a lot of packing material: a decision of quality, with its reason."""
    return clerk.write(actions.release_lot, number, asked)
