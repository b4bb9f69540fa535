"""Entering and changing products: a product is dated as its shelf life asks for."""

from typing import Any

from app.ledger.cards import CardOut, add, revise
from app.ledger.posting import Pen
from app.packing.actions import PRODUCTS
from app.packing.dates import refuse_undatable
from app.packing.schemas import ProductChange, ProductIn, ProductOut
from app.packing.tables import DateChoice, Product


def add_product(pen: Pen, asked: ProductIn) -> CardOut:
    """Enter a product."""
    refuse_undatable(asked.shelf_life_days, asked.shelf_life_months, asked.date_form)
    return add(pen, PRODUCTS, asked)


def change_product(pen: Pen, sku: str, asked: ProductChange, if_match: str | None) -> CardOut:
    """Change a product; what it becomes as a whole must be datable."""
    card = revise(pen, PRODUCTS, sku, asked, if_match, settle=_settle)
    return ProductOut.model_validate(card, from_attributes=True)


def _settle(card: Product, changes: dict[str, Any]) -> dict[str, Any]:
    days, months, choice = (
        changes.get(name, getattr(card, name))
        for name in ("shelf_life_days", "shelf_life_months", "date_form")
    )
    refuse_undatable(days, months, DateChoice(choice))
    return changes
