"""Saying of a product what is in its bags: a blend by a recipe, or roasts of one style."""

from typing import Any

from sqlmodel import Session

from app.ledger.cards import CardOut, enter, revise
from app.ledger.posting import Pen
from app.packing.actions import PRODUCTS
from app.packing.recipes.actions import recipe_named
from app.packing.schemas import ProductChange, ProductIn
from app.packing.tables import Product
from app.roasting.styles.actions import style_named
from app.shared.problems import FieldRefused


def add_product(pen: Pen, asked: ProductIn) -> CardOut:
    """Enter a product, with the recipe or the style it is made by where that is known."""
    known = {"recipe": asked.recipe, "style": asked.style}
    facts = asked.model_dump() | _settled(pen.session, known)
    card = enter(pen, PRODUCTS, asked, facts)
    return PRODUCTS.out.model_validate(card, from_attributes=True)


def change_product(pen: Pen, sku: str, asked: ProductChange, if_match: str | None) -> CardOut:
    """Change a product; its number and nominal quantity stay."""

    def _settle(card: Product, changes: dict[str, Any]) -> dict[str, Any]:
        known = {name: changes.get(name, getattr(card, name)) for name in ("recipe", "style")}
        if not changes.keys() & known.keys():
            return changes
        settled = _settled(pen.session, known)
        return changes | {name: settled[name] for name in changes.keys() & known.keys()}

    card = revise(pen, PRODUCTS, sku, asked, if_match, settle=_settle)
    return PRODUCTS.out.model_validate(card, from_attributes=True)


def _settled(session: Session, said: dict[str, str | None]) -> dict[str, str | None]:
    """Write the names as their cards do; a product is made by one of the two."""
    if said["recipe"] is not None and said["style"] is not None:
        raise FieldRefused("#/style", "a product is made by a recipe or of a style, not by both")
    settled = dict(said)
    for noun, find in (("recipe", recipe_named), ("style", style_named)):
        name = said[noun]
        if name is None:
            continue
        card = find(session, name)
        if card is None:
            raise FieldRefused(
                f"#/{noun}", f"there is no {noun} {name}: enter it first", "unknown-reference"
            )
        settled[noun] = card.name
    return settled
