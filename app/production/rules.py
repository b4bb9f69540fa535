"""From bags to roasted coffee: recipes taken apart, and what is there taken off once."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, NamedTuple

from app.packing.recipes.rules import WHOLE_MILLI, Component
from app.shared.names import fold_name


class Coffee(NamedTuple):
    """A roasted coffee: a blend by a recipe or roasts of a style, by its folded name."""

    noun: Literal["recipe", "style"]
    name: str


class Need(NamedTuple):
    """How much of a coffee is needed, how much of that is there, and what is to be made."""

    wanted_g: Fraction
    on_hand_g: Fraction
    to_make_g: Fraction


class Part(NamedTuple):
    """What a recipe needs of one of its components; None where it is neither style nor recipe."""

    name: str
    coffee: Coffee | None
    grams: Fraction


@dataclass
class Needs:
    """What was found, in an order in which a recipe comes before what it is made of."""

    coffees: dict[Coffee, Need] = field(default_factory=dict)
    parts: dict[str, list[Part]] = field(default_factory=dict)
    """By the folded name of the recipe."""
    unknown: dict[str, str] = field(default_factory=dict)
    """Components that are neither style nor recipe, each with the recipe it stands in."""
    endless: list[str] = field(default_factory=list)
    """Recipes that are made of themselves."""


class Cards(NamedTuple):
    """What is entered, by folded names."""

    recipes: Mapping[str, Sequence[Component]]
    styles: Collection[str]

    def coffee(self, name: str) -> Coffee | None:
        """Find what a component is; a style comes before a recipe of the same name."""
        key = fold_name(name)
        if key in self.styles:
            return Coffee("style", key)
        return Coffee("recipe", key) if key in self.recipes else None


def explode(
    wanted: Mapping[Coffee, Fraction], cards: Cards, on_hand: Mapping[Coffee, int]
) -> Needs:
    """Say what of each coffee has to be made; what is there is taken off once.

    A recipe's own blends are used before its components are asked for, so a component is wanted
    by what is left to blend of every recipe it stands in.
    """
    found = Needs()
    sums: defaultdict[Coffee, Fraction] = defaultdict(Fraction, wanted)
    for coffee in _in_order(wanted, cards, found.endless):
        wanted_g = sums[coffee]
        there_g = min(wanted_g, Fraction(on_hand.get(coffee, 0)))
        found.coffees[coffee] = Need(wanted_g, there_g, wanted_g - there_g)
        if coffee.noun == "style" or coffee.name in found.endless:
            continue
        parts = [
            Part(
                each.name, cards.coffee(each.name),
                (wanted_g - there_g) * each.share_milli / WHOLE_MILLI,
            )
            for each in cards.recipes[coffee.name]
        ]  # fmt: skip
        found.parts[coffee.name] = parts
        for part in parts:
            if part.coffee is None:
                found.unknown[part.name] = coffee.name
            else:
                sums[part.coffee] += part.grams
    return found


def _in_order(first: Iterable[Coffee], cards: Cards, endless: list[str]) -> list[Coffee]:
    """Put coffees so that each stands before what it is made of; name recipes that run round."""
    done: dict[Coffee, bool] = {}
    order: list[Coffee] = []

    def _visit(coffee: Coffee) -> None:
        if coffee in done:
            if not done[coffee]:
                endless.append(coffee.name)
            return
        done[coffee] = False
        if coffee.noun == "recipe":
            for component in cards.recipes[coffee.name]:
                part = cards.coffee(component.name)
                if part is not None:
                    _visit(part)
        done[coffee] = True
        order.append(coffee)

    for coffee in first:
        _visit(coffee)
    return order[::-1]
