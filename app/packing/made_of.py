"""Saying of a product what is in its bags: a blend by a recipe, or roasts of one style."""

from sqlmodel import Session

from app.packing.recipes.actions import recipe_named
from app.roasting.styles.actions import style_named
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
