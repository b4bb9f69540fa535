"""Entering and changing products: what is in the bag, and how long it keeps its quality."""

from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import CardOut, enter, revise
from app.ledger.posting import Pen
from app.packing.actions import PRODUCTS
from app.packing.dates import refuse_undatable
from app.packing.made_of import made_by
from app.packing.schemas import ProductChange, ProductIn, ProductOut
from app.packing.tables import DateChoice, Product
from app.shared.problems import Refused
from app.standards.gs1.keys import gtin_14, gtin_forms


def add_product(pen: Pen, asked: ProductIn) -> CardOut:
    """Enter a product, with the recipe or the style it is made by where that is known."""
    refuse_undatable(asked.shelf_life_days, asked.shelf_life_months, asked.date_form)
    _refuse_shared(pen.session, asked.gtin)
    known = {"recipe": asked.recipe, "style": asked.style}
    card = enter(pen, PRODUCTS, asked, asked.model_dump() | made_by(pen.session, known))
    return ProductOut.model_validate(card, from_attributes=True)


def change_product(pen: Pen, sku: str, asked: ProductChange, if_match: str | None) -> CardOut:
    """Change a product; its number and nominal quantity stay."""

    def _settle(card: Product, changes: dict[str, Any]) -> dict[str, Any]:
        days, months, choice = (
            changes.get(name, getattr(card, name))
            for name in ("shelf_life_days", "shelf_life_months", "date_form")
        )
        refuse_undatable(days, months, DateChoice(choice))
        if "gtin" in changes:
            _refuse_shared(pen.session, changes["gtin"], card.sku)
        known = {name: changes.get(name, getattr(card, name)) for name in ("recipe", "style")}
        if not changes.keys() & known.keys():
            return changes
        made = made_by(pen.session, known)
        return changes | {name: made[name] for name in changes.keys() & known.keys()}

    card = revise(pen, PRODUCTS, sku, asked, if_match, settle=_settle)
    return ProductOut.model_validate(card, from_attributes=True)


def _refuse_shared(session: Session, gtin: str | None, own_sku: str = "") -> None:
    """Refuse the number of another trade item, however many zeros stand before it."""
    if gtin is None:
        return
    other = session.scalars(
        select(col(Product.sku))
        .where(col(Product.gtin).in_(gtin_forms(gtin_14(gtin))), col(Product.sku) != own_sku)
        .order_by(col(Product.id))
    ).first()
    if other is not None:
        said = f"{gtin} is the GTIN of {other}: each trade item has its own"
        raise Refused(
            "code-taken", said, product=other, errors=[{"pointer": "#/gtin", "detail": said}]
        )
