"""From bags to green: what a product is made of, through its recipe and the measured loss."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.cover.rules import Slot, slots_named
from app.cover.tallies import Facts
from app.ledger.tables import Entry, Unit
from app.packing.recipes.rules import WHOLE_MILLI
from app.packing.recipes.tables import Recipe
from app.packing.tables import Pack, Product
from app.production import reading
from app.production.rules import Cards, Coffee, explode
from app.production.working import coffee_of, why_unknown
from app.roasting.styles.tables import Style
from app.roasting.yields import Yield
from app.shared.days import begin_of, end_of
from app.shared.days_in_sql import day_in_sql


class Made(NamedTuple):
    """A product, and the green of each component in a gram of what is in its bags."""

    product: Product
    coffee: Coffee | None
    green: Mapping[str, Fraction]
    gap: str | None
    """Why that is not known."""


@dataclass(frozen=True)
class House:
    """The cards by which bags are made."""

    products: Sequence[Product]
    recipes: Sequence[Recipe]
    styles: Sequence[Style]
    cards: Cards
    yields: Mapping[int, Yield]

    @cached_property
    def by_name(self) -> Mapping[str, Style]:
        """Styles by their folded names."""
        return {style.name_key: style for style in self.styles}

    @cached_property
    def by_id(self) -> Mapping[int, Style]:
        """Styles by their numbers."""
        return {style.id or 0: style for style in self.styles}

    def slots(self, style: Style) -> list[Slot]:
        """Name the slots of a charge."""
        return slots_named(style.name, style.green)

    def loss_of(self, style: Style) -> Yield:
        """Say what a style gives."""
        return self.yields[style.id or 0]

    def green_of(self, roasted: Mapping[Coffee, Fraction]) -> Mapping[str, Fraction]:
        """Say how much green of each component gives so much roasted."""
        found: defaultdict[str, Fraction] = defaultdict(Fraction)
        for coffee, need in explode(roasted, self.cards, {}).coffees.items():
            if coffee.noun == "style":
                style = self.by_name[coffee.name]
                green = self.loss_of(style).green_for(need.to_make_g)
                for slot in self.slots(style):
                    found[slot.component] += green * slot.share_milli / WHOLE_MILLI
        return found

    def made(self, product: Product) -> Made:
        """Say what a product is made of."""
        coffee = coffee_of(product, self.cards)
        if coffee is None:
            return Made(product, None, {}, why_unknown(product))
        needs = explode({coffee: Fraction(1)}, self.cards, {})
        named = [style for style in self.styles if Coffee("style", style.name_key) in needs.coffees]
        unknown = [*needs.unknown, *needs.endless]
        unknown += [style.name for style in named if not style.green]
        if unknown:
            return Made(product, coffee, {}, f"nobody knows the green of {', '.join(unknown)}")
        green = self.green_of({coffee: Fraction(1)})
        return Made(product, coffee, green, None if green else "no green goes into it")


def house(session: Session, facts: Facts) -> House:
    """Read how everything is made, with the losses that were measured until the day asked about."""
    recipes = session.scalars(select(Recipe)).all()
    styles = facts.styles.cards
    return House(
        reading.products(session),
        recipes,
        styles,
        reading.cards_of(recipes, styles),
        facts.styles.yields,
    )


def packed(session: Session, first: date, last: date) -> Mapping[int, Mapping[date, int]]:
    """Add up by product and day the grams that were packed."""
    day = day_in_sql(col(Entry.happened_at), first, last)
    rows = session.execute(
        select(col(Pack.product_id), day, func.sum(col(Unit.made_g)))
        .join(Unit, col(Unit.id) == col(Pack.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(first), col(Entry.happened_at) < end_of(last))
        .group_by(col(Pack.product_id), day)
    )
    found: defaultdict[int, dict[date, int]] = defaultdict(dict)
    for product_id, on, grams in rows:
        found[product_id][on] = int(grams)
    return found
