"""Reading contracts: what was agreed, what holds, and what came of it so far."""

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.arrivals.tables import ReceiptClose
from app.green.contracts.received import RECEIVED_G, received_of
from app.green.contracts.schemas import (
    ContractDelivery,
    ContractLine,
    ContractLot,
    ContractOut,
    TermsOut,
)
from app.green.contracts.shelf import CONTRACTS, terms_of
from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.cards import card_at
from app.ledger.tables import Entry, Unit
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.standards.buying import PriceUnit, accepted, price_per_kg


def contract(session: Session, reference: str, settings: Settings, *, prices: bool) -> ContractOut:
    """Read one contract with its standing and its deliveries."""
    return contract_out(session, card_at(session, CONTRACTS, reference), settings, prices=prices)


def contract_out(
    session: Session, card: PurchaseContract, settings: Settings, *, prices: bool
) -> ContractOut:
    """Answer a contract in full."""
    assert card.id is not None  # noqa: S101 - read from the database or flushed
    supplier = session.get_one(Supplier, card.supplier_id).name
    received_g = received_of(session, card.id)
    line = _line(card, supplier, received_g, settings, prices=prices)
    return ContractOut(**dict(line), deliveries=_deliveries(session, card.id))


def contract_page(
    session: Session, page: Page, supplier_id: int | None, settings: Settings, *, prices: bool
) -> PageOf:
    """Read contracts in the order they were entered."""
    statement: AnySelect = select(
        col(PurchaseContract.id),
        PurchaseContract,
        col(Supplier.name).label("supplier"),
        RECEIVED_G.label("received_g"),
    ).join(Supplier, col(Supplier.id) == col(PurchaseContract.supplier_id))
    if supplier_id is not None:
        statement = statement.where(col(PurchaseContract.supplier_id) == supplier_id)
    rows, following = turn_page(session, statement, col(PurchaseContract.id), page)
    return [
        _line(
            row.PurchaseContract, row.supplier, int(row.received_g), settings, prices=prices
        ).model_dump(by_alias=True)
        for row in rows
    ], following


_KEPT = PurchaseContract.model_fields.keys() - {"supplier_id", "price", "currency", "price_unit"}
"""What is answered as it stands on the card."""


def _line(
    card: PurchaseContract, supplier: str, received_g: int, settings: Settings, *, prices: bool
) -> ContractLine:
    assert card.id is not None  # noqa: S101 - read from the database or flushed
    terms = terms_of(card, settings)
    limits = accepted(card.quantity_g, terms.tolerance_pct)
    price = card.price if prices else None
    unit = PriceUnit(card.price_unit) if prices and card.price_unit else None
    kept = {name: getattr(card, name) for name in _KEPT}
    return ContractLine(
        **kept,
        supplier=supplier,
        terms=TermsOut.model_validate(terms, from_attributes=True),
        received_g=received_g,
        accepted_from_g=limits.least_g,
        accepted_to_g=limits.most_g,
        standing=limits.standing(received_g),
        price=price,
        currency=card.currency if prices else None,
        price_unit=unit,
        price_per_kg=None if price is None or unit is None else price_per_kg(price, unit),
    )


def _deliveries(session: Session, contract_id: int) -> list[ContractDelivery]:
    booked, closing = aliased(Entry), aliased(Entry)
    rows = session.execute(
        select(
            col(Delivery.code),
            col(booked.happened_at),
            col(closing.recorded_at).label("closed_at"),
            col(Unit.code).label("lot"),
            col(Unit.made_g),
            col(Unit.voided_entry_id),
            col(GreenLot.name),
            col(GreenLot.shipped_g),
        )
        .join(booked, col(booked.id) == col(Delivery.entry_id))
        .join(GreenLot, col(GreenLot.delivery_id) == col(Delivery.id))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .outerjoin(ReceiptClose, col(ReceiptClose.delivery_id) == col(Delivery.id))
        .outerjoin(closing, col(closing.id) == col(ReceiptClose.entry_id))
        .where(col(Delivery.contract_id) == contract_id)
        .order_by(col(Unit.id))
    )
    found: dict[str, ContractDelivery] = {}
    for row in rows:
        delivery = found.setdefault(row.code, ContractDelivery(
            code=row.code, received_at=row.happened_at, closed_at=row.closed_at, lots=[],
        ))  # fmt: skip
        delivery.lots.append(_lot(row))
    return list(found.values())


def _lot(row: Any) -> ContractLot:  # noqa: ANN401 - a row of `_deliveries`
    return ContractLot(
        code=row.lot,
        name=row.name,
        received_g=row.made_g,
        shipped_g=row.shipped_g,
        voided=row.voided_entry_id is not None,
    )
