"""Saying of a product what is in its bags: a blend by a recipe, or roasts of one style."""

from collections.abc import Mapping

from sqlmodel import Session

from app.ledger.tables import Unit
from app.packing.recipes.actions import names_of, recipe_named
from app.packing.tables import Product
from app.roasting.styles.actions import style_named
from app.shared.names import fold_name
from app.shared.problems import FieldRefused


def made_by(session: Session, said: dict[str, str | None]) -> dict[str, str | None]:
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


def other_contents(session: Session, product: Product, units: Mapping[str, Unit]) -> list[str]:
    """Point out what goes into bags of a product that is made of something else."""
    made_of = product.recipe or product.style
    if made_of is None:
        return []
    names = names_of(session, [unit.id for unit in units.values()])
    return [
        f"{code} is {names.get(unit.id) or f'a {unit.kind} without a name'}; {product.sku} is made "
        f"of {made_of}"
        for code, unit in units.items()
        if fold_name(names.get(unit.id) or "") != fold_name(made_of)
    ]
