"""Products, blends and packs."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.packing import actions, products, queries
from app.packing.actions import PRODUCTS
from app.packing.schemas import (
    BlendIn,
    BlendLine,
    BlendOut,
    PackIn,
    PackLine,
    PackOut,
    ProductChange,
    ProductIn,
    ProductOut,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import Day

router = api_router("packing")

ProductKeeper = Annotated[Clerk, allowed(Permission.PRODUCTS)]
Blender = Annotated[Clerk, allowed(Permission.BLEND)]
Packer = Annotated[Clerk, allowed(Permission.PACK)]


@router.post("/products", status_code=201, response_model=ProductOut, dependencies=[Keyed])
def add_product(clerk: ProductKeeper, asked: ProductIn) -> Response:
    """Enter a product: a bag of a nominal quantity."""
    return clerk.write(products.add_product, asked)


@router.get("/products", response_model=Items[ProductOut])
def list_products(clerk: Reader, page: PageAsked) -> Response:
    """List products."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, PRODUCTS, page))


@router.get("/products/{sku}", response_model=ProductOut)
def show_product(clerk: Reader, sku: str) -> Response:
    """Show a product, with the `ETag` a change needs."""
    return cards.show(clerk, PRODUCTS, sku)


@router.patch("/products/{sku}", response_model=ProductOut)
def change_product(
    clerk: ProductKeeper, sku: str, asked: ProductChange, if_match: IfMatch = None
) -> Response:
    """Change a product; its number and nominal quantity stay."""
    return clerk.write(products.change_product, sku, asked, if_match)


@router.post("/blends", status_code=201, response_model=BlendOut, dependencies=[Keyed])
def blend(clerk: Blender, asked: BlendIn) -> Response:
    """Mix roasts and blends, held against the recipe where one is named."""
    may_deviate = clerk.staff.may(Permission.OFF_RECIPE)
    return clerk.write(actions.blend, asked, may_deviate=may_deviate)


@router.get("/blends", response_model=Items[BlendLine])
def list_blends(clerk: Reader, page: PageAsked) -> Response:
    """List blends, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.blend_page, page))


@router.get("/blends/{code}", response_model=BlendOut)
def show_blend(clerk: Reader, code: Code) -> Response:
    """Show a blend with its parts and their shares."""
    return Answer(clerk.read(queries.blend, code))


@router.post("/packs", status_code=201, response_model=PackOut, dependencies=[Keyed])
def pack(clerk: Packer, asked: PackIn) -> Response:
    """Fill bags of one product from roasts and blends."""
    return clerk.write(actions.pack, asked)


@router.get("/packs", response_model=Items[PackLine])
def list_packs(
    clerk: Reader,
    page: PageAsked,
    product: Annotated[str | None, Query(max_length=32)] = None,
    on_hand: bool | None = None,
    best_before_before: Day | None = None,
) -> Response:
    """List packs, oldest first."""
    return page_answer(
        clerk.request,
        *clerk.read(queries.pack_page, page, product, on_hand, best_before_before),
    )


@router.get("/packs/{code}", response_model=PackOut)
def show_pack(clerk: Reader, code: Code) -> Response:
    """Show a pack: bags left, lot mark, and what it was filled from."""
    return Answer(clerk.read(queries.pack, code))
