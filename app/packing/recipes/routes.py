"""Recipes."""

from typing import Annotated

from fastapi import Response

from app.ledger import cards
from app.ledger.card_versions import VersionOut, version_page
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.packing.recipes import actions
from app.packing.recipes.actions import RECIPES
from app.packing.recipes.schemas import RecipeChange, RecipeIn, RecipeOut
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("packing")

RecipeKeeper = Annotated[Clerk, allowed(Permission.RECIPES)]


@router.post("/recipes", status_code=201, response_model=RecipeOut, dependencies=[Keyed])
def add_recipe(clerk: RecipeKeeper, asked: RecipeIn) -> Response:
    """Enter a recipe: which coffees a blend is made of."""
    return clerk.write(actions.add_recipe, asked)


@router.get("/recipes", response_model=Items[RecipeOut])
def list_recipes(clerk: Reader, page: PageAsked) -> Response:
    """List recipes."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, RECIPES, page))


@router.get("/recipes/{name}", response_model=RecipeOut)
def show_recipe(clerk: Reader, name: str) -> Response:
    """Show a recipe by name or number, with the `ETag` a change needs."""
    return cards.show(clerk, RECIPES, name)


@router.patch("/recipes/{name}", response_model=RecipeOut)
def change_recipe(
    clerk: RecipeKeeper, name: str, asked: RecipeChange, if_match: IfMatch = None
) -> Response:
    """Change a recipe: the next version. Earlier blends stay held against theirs."""
    return clerk.write(actions.change_recipe, name, asked, if_match)


@router.get("/recipes/{name}/versions", response_model=Items[VersionOut[RecipeOut]])
def list_recipe_versions(clerk: Reader, name: str, page: PageAsked) -> Response:
    """List what a recipe was, the first version first."""
    return page_answer(clerk.request, *clerk.read(version_page, page, RECIPES, name))
