"""Reading the versions a recipe had."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.tables import Entry
from app.packing.recipes.actions import RECIPES
from app.packing.recipes.tables import RecipeVersion
from app.shared.answers import read_json
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def version_page(session: Session, page: Page, name: str) -> PageOf:
    """Read every version of a recipe, the first one first."""
    recipe = card_at(session, RECIPES, name)
    statement = (
        select(
            col(RecipeVersion.version),
            col(RecipeVersion.said),
            col(Entry.recorded_at),
            col(Entry.who),
        )
        .join(Entry, col(Entry.id) == col(RecipeVersion.entry_id))
        .where(col(RecipeVersion.recipe_id) == recipe.id)
    )
    rows, following = turn_page(session, statement, col(RecipeVersion.version), page)
    return [
        {
            "version": row.version, "recipe": read_json(row.said), "since": text(row.recorded_at),
            "changed_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip
