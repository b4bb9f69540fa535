"""Entering and changing recipes, and holding a blend against the one it names."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.card_versions import keep
from app.ledger.cards import CardOut, Shelf, add, card_at, change
from app.ledger.posting import Pen
from app.packing.pouring import Filling
from app.packing.recipes.rules import REWORK, Component, Off, off_recipe, round_trip
from app.packing.recipes.schemas import ComponentIn, RecipeChange, RecipeIn, RecipeOut
from app.packing.recipes.tables import Recipe
from app.packing.tables import Blend
from app.roasting.styles.tables import Style
from app.roasting.tables import Roast
from app.shared.names import fold_name
from app.shared.problems import FieldRefused, Refused
from app.shared.staff import Permission

RECIPES = Shelf("recipe", Recipe, RecipeOut, key="name", folded="name_key")


class Held(NamedTuple):
    """A blend that was held against a recipe."""

    recipe: Recipe
    components: Mapping[str, str]
    """The component each unit stands for, by the unit's code."""
    reason: str | None
    """Why it may be off its recipe; None where it is not."""


def add_recipe(pen: Pen, asked: RecipeIn) -> CardOut:
    """Enter a recipe as its first version."""
    _refuse_round_trip(pen.session, None, asked.name, asked.components)
    return keep(pen, RECIPES, add(pen, RECIPES, asked))


def change_recipe(pen: Pen, name: str, asked: RecipeChange, if_match: str | None) -> CardOut:
    """Change a recipe: blends until now stay held against the version that was."""
    card = card_at(pen.session, RECIPES, name)
    _refuse_round_trip(pen.session, card, asked.name or card.name, asked.components)
    return keep(pen, RECIPES, change(pen, RECIPES, name, asked, if_match))


def _refuse_round_trip(
    session: Session, card: Recipe | None, name: str, components: Sequence[ComponentIn] | None
) -> None:
    """Refuse a recipe that would be made of itself; a style of that name ends the way."""
    styles = set(session.scalars(select(col(Style.name_key))))
    made_of = {
        each.name_key: [fold_name(str(part["name"])) for part in each.components]
        for each in session.scalars(select(Recipe))
    }
    said = [fold_name(part.name) for part in components] if components else None
    own = made_of.pop(card.name_key, []) if card else []
    made_of[fold_name(name)] = own if said is None else said
    ends = {key: [part for part in parts if part not in styles] for key, parts in made_of.items()}
    way = round_trip(ends, fold_name(name))
    if way is not None:
        raise FieldRefused("#/components", f"made of itself: {' → '.join(way)}")


def recipe_named(session: Session, name: str | None) -> Recipe | None:
    """Find the recipe a blend names; a word that is none stays a word."""
    if name is None:
        return None
    # Not `find`, which takes a name of digits for the number of another recipe's card.
    key = RECIPES.fold(name)
    return session.scalars(select(Recipe).where(col(Recipe.name_key) == key)).first()


def hold_against(
    pen: Pen,
    recipe: Recipe,
    filling: Filling,
    reason: str | None,
    *,
    may_deviate: bool,
) -> Held:
    """Hold the parts of a blend against its recipe.

    Raises:
        Refused: `off-recipe` with the figures where no reason is given; `forbidden` where it is
            given by somebody who may not; `invalid` for a part that is no component.
    """
    components = [Component(str(c["name"]), int(c["share_milli"])) for c in recipe.components]
    stands_for = _stand_for(pen.session, recipe, components, filling)
    filled: Counter[str] = Counter()
    for scoop in filling.scoops:
        filled[fold_name(stands_for[scoop.unit])] += scoop.grams
    tolerance = recipe.tolerance_milli
    if tolerance is None:
        tolerance = int(pen.settings.recipe_tolerance * 1000)
    off = off_recipe(filled, components, tolerance, recipe.rework_milli)
    if off and reason is None:
        raise _off(recipe, off)
    if off and not may_deviate:
        raise Refused(
            "forbidden",
            f"{pen.who} may not blend off a recipe: the permission {Permission.OFF_RECIPE} is "
            "missing.",
            permission=Permission.OFF_RECIPE,
        )
    return Held(recipe, stands_for, reason if off else None)


def _stand_for(
    session: Session,
    recipe: Recipe,
    components: Sequence[Component],
    filling: Filling,
) -> Mapping[str, str]:
    """Tell which component each unit stands for: by word, else by its own style or recipe."""
    known = {fold_name(each.name): each.name for each in components} | {REWORK: REWORK}
    own = names_of(session, [unit.id for unit in filling.units.values()])
    found: dict[str, str] = {}
    for part, unit, _, word in filling.scoops:
        said = word or own.get(filling.units[unit].id) or ""
        component = known.get(fold_name(said))
        if component is None:
            raise FieldRefused(
                f"#/parts/{part}/component",
                f"say which component of {recipe.name} {unit} is: {', '.join(known.values())}",
            )
        if found.setdefault(unit, component) != component:
            raise FieldRefused(
                f"#/parts/{part}/component",
                f"{unit} is {found[unit]} already: a unit is one component",
            )
    return found


def names_of(session: Session, unit_ids: Sequence[int]) -> Mapping[int, str | None]:
    """Name the style of each roast and the recipe of each blend, where it has one."""
    styles = session.execute(
        select(col(Roast.unit_id), col(Roast.style)).where(col(Roast.unit_id).in_(unit_ids))
    )
    recipes = session.execute(
        select(col(Blend.unit_id), col(Blend.recipe)).where(col(Blend.unit_id).in_(unit_ids))
    )
    return {unit_id: name for rows in (styles, recipes) for unit_id, name in rows}


def _off(recipe: Recipe, off: Sequence[Off]) -> Refused:
    said = "; ".join(
        f"{each.component} {each.share_pct} %, wanted {each.wanted_pct} ± {each.tolerance}"
        for each in off
    )
    return Refused(
        "off-recipe",
        f"Not {recipe.name}, version {recipe.version}: {said}.",
        recipe=recipe.name,
        off=[each._asdict() for each in off],
    )
