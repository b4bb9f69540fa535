"""Suppliers, deliveries, lots and sacks."""

from typing import Annotated

from fastapi import Depends, Query, Response

from app.green import actions, queries
from app.green.actions import SUPPLIERS
from app.green.origins import Country
from app.green.schemas import (
    DeliveryIn,
    DeliveryLine,
    DeliveryOut,
    LotOut,
    SackOut,
    SupplierChange,
    SupplierIn,
    SupplierOut,
)
from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.places.cautions import heavy_over_g
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("green")

SupplierKeeper = Annotated[Clerk, allowed(Permission.SUPPLIERS)]
Receiver = Annotated[Clerk, allowed(Permission.RECEIVE)]
Printed = Annotated[str | None, Query(max_length=100, description="In any printed form")]


async def _wanted(
    origin: Annotated[Country | None, Query()] = None,
    on_hand: bool | None = None,
    ico_mark: Printed = None,
    crop_year: Printed = None,
    certificate: Annotated[str | None, Query(max_length=32)] = None,
) -> queries.Wanted:
    return queries.Wanted(origin, on_hand, ico_mark, crop_year, certificate)


LotsAsked = Annotated[queries.Wanted, Depends(_wanted)]


@router.post("/suppliers", status_code=201, response_model=SupplierOut, dependencies=[Keyed])
def add_supplier(clerk: SupplierKeeper, asked: SupplierIn) -> Response:
    """Enter somebody coffee comes from."""
    return clerk.write(cards.add, SUPPLIERS, asked)


@router.get("/suppliers", response_model=Items[SupplierOut])
def list_suppliers(clerk: Reader, page: PageAsked) -> Response:
    """List suppliers."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, SUPPLIERS, page))


@router.get("/suppliers/{name}", response_model=SupplierOut)
def show_supplier(clerk: Reader, name: str) -> Response:
    """Show a supplier by name or number, with the `ETag` a change needs."""
    return cards.show(clerk, SUPPLIERS, name)


@router.patch("/suppliers/{name}", response_model=SupplierOut)
def change_supplier(
    clerk: SupplierKeeper, name: str, asked: SupplierChange, if_match: IfMatch = None
) -> Response:
    """Change a supplier."""
    return clerk.write(cards.change, SUPPLIERS, name, asked, if_match)


@router.post("/deliveries", status_code=201, response_model=DeliveryOut, dependencies=[Keyed])
def receive(clerk: Receiver, asked: DeliveryIn) -> Response:
    """Receive lots by the sack."""
    return clerk.write(actions.receive, asked)


@router.get("/deliveries", response_model=Items[DeliveryLine])
def list_deliveries(clerk: Reader, page: PageAsked) -> Response:
    """List deliveries, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.delivery_page, page))


@router.get("/deliveries/{code}", response_model=DeliveryOut)
def show_delivery(clerk: Reader, code: str) -> Response:
    """Show a delivery with its lots and sacks, against its contract where it has one."""
    return Answer(clerk.read(queries.delivery, code, clerk.settings))


@router.get("/lots", response_model=Items[LotOut])
def list_lots(clerk: Reader, page: PageAsked, wanted: LotsAsked) -> Response:
    """List lots with what is left of them, oldest first."""
    prices = clerk.staff.may(Permission.PRICES)
    return page_answer(
        clerk.request,
        *clerk.read(queries.lot_page, page, wanted, clerk.settings, prices=prices),
    )


@router.get("/lots/{code}", response_model=LotOut)
def show_lot(clerk: Reader, code: Code) -> Response:
    """Show a lot with what is left of it."""
    prices = clerk.staff.may(Permission.PRICES)
    return Answer(clerk.read(queries.lot, code, clerk.settings, prices=prices))


@router.get("/sacks", response_model=Items[SackOut])
def list_sacks(
    clerk: Reader,
    page: PageAsked,
    lot: Annotated[Code | None, Query()] = None,
    location: Annotated[str | None, Query(max_length=32)] = None,
    on_hand: bool | None = None,
) -> Response:
    """List sacks by lot, place and whether anything is left, oldest first."""
    over_g = heavy_over_g(clerk.settings)
    return page_answer(
        clerk.request,
        *clerk.glance(queries.sack_page, page, lot, location, on_hand, heavy_over_g=over_g),
    )


@router.get("/sacks/{code}", response_model=SackOut)
def show_sack(clerk: Reader, code: Code) -> Response:
    """Show a sack: what is left, where it stands, whether it is held."""
    return Answer(clerk.glance(queries.sack, code, heavy_over_g(clerk.settings)))
