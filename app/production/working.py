"""Working out what is to be packed, blended and roasted, and what each batch is made of."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from fractions import Fraction
from math import ceil

from sqlalchemy import select
from sqlmodel import Session

from app.packing.recipes.rules import WHOLE_MILLI
from app.packing.recipes.tables import Recipe
from app.packing.tables import Product
from app.production import reading
from app.production.reading import Demand, Lot
from app.production.rules import Cards, Coffee, Needs, explode
from app.roasting.batches.actions import slots_of
from app.roasting.batches.queries import charges_to_come
from app.roasting.batches.rules import Filled, Slot, fill
from app.roasting.losses import yields_of
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine
from app.roasting.yields import Batches, Yield, batches_for, usual_charge
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.periods import Period

MOST_BATCHES = 500
"""More of one style in one period are added up and not filled one by one."""


@dataclass
class Bagged:
    """A product: what is wanted of it, what is packed, what is to pack."""

    product: Product
    ordered: int = 0
    late: int = 0
    standing: int = 0
    packed: int = 0
    coffee: Coffee | None = None

    @property
    def to_pack(self) -> int:
        return max(self.ordered + self.standing - self.packed, 0)

    @property
    def roasted_g(self) -> int:
        return self.to_pack * self.product.nominal_g


@dataclass
class Roasting:
    """A style: how much is to be roasted, in which batches, and of which green."""

    style: Style
    of: Yield
    planned_g: int
    """What planned batches that are still to come will give."""
    to_roast_g: Fraction
    machine: Machine | None
    charge_g: int | None
    batches: Batches | None
    filled: list[Filled] = field(default_factory=list)
    by_age: bool = False
    """Whether the lots are only the oldest ones, since the style names none."""

    @property
    def green(self) -> Mapping[str, int]:
        whole: Counter[str] = Counter()
        for each in self.filled:
            whole.update(each.green)
        return whole

    @property
    def short_g(self) -> int:
        return sum(each.short_g for each in self.filled)


@dataclass
class Work:
    """Everything that was worked out."""

    demand: Demand
    bagged: list[Bagged]
    needs: Needs
    names: Mapping[Coffee, str]
    roasting: list[Roasting]
    gaps: list[tuple[str, str]]
    """What could not be worked out: what it is, and why."""


def work_out(session: Session, period: Period, settings: Settings, at: datetime) -> Work:
    """Work out what a period needs, with what is there taken off once."""
    recipes = session.scalars(select(Recipe)).all()
    styles = session.scalars(select(Style)).all()
    cards = reading.cards_of(recipes, styles)
    gaps: list[tuple[str, str]] = []
    demand = reading.demand_of(session, period)
    there = reading.on_hand(session, period.first, recipes, styles)
    bagged = _bagged(session, demand, cards, gaps, packed=there.bags, first=period.first)
    wanted: Counter[Coffee] = Counter()
    for each in bagged:
        if each.coffee is not None and each.roasted_g:
            wanted[each.coffee] += each.roasted_g
    needs = explode(
        {coffee: Fraction(grams) for coffee, grams in wanted.items()},
        cards,
        there.roasted,
    )
    names = {Coffee("recipe", each.name_key): each.name for each in recipes}
    names |= {Coffee("style", each.name_key): each.name for each in styles}
    gaps += [(name, f"component of {recipe}, and neither style nor recipe")
             for name, recipe in needs.unknown.items()]  # fmt: skip
    gaps += [(name, "a recipe that is made of itself") for name in needs.endless]
    roasting = _roasting(session, needs, styles, gaps, last=period.last, settings=settings, at=at)
    return Work(demand, bagged, needs, names, roasting, gaps)


def _bagged(
    session: Session, demand: Demand, cards: Cards, gaps: list[tuple[str, str]],
    *, packed: Mapping[int, int], first: date,
) -> list[Bagged]:  # fmt: skip
    products = {product.sku: product for product in reading.products(session)}
    found: dict[str, Bagged] = {}
    for line in demand.lines:
        one = found.setdefault(line.sku, Bagged(products[line.sku]))
        one.ordered += line.bags
        one.late += line.bags if line.due_on < first else 0
    for standing in demand.standing:
        found.setdefault(standing.sku, Bagged(products[standing.sku])).standing += standing.bags
    for sku, one in sorted(found.items()):
        one.packed = packed.get(one.product.id or 0, 0)
        one.coffee = coffee_of(one.product, cards)
        if one.coffee is None:
            gaps.append((sku, why_unknown(one.product)))
    return [one for _, one in sorted(found.items())]


def coffee_of(product: Product, cards: Cards) -> Coffee | None:
    """Find what is in the bag; a card that was renamed since is not found."""
    if product.recipe is not None and fold_name(product.recipe) in cards.recipes:
        return Coffee("recipe", fold_name(product.recipe))
    if product.style is not None and fold_name(product.style) in cards.styles:
        return Coffee("style", fold_name(product.style))
    return None


def why_unknown(product: Product) -> str:
    """Say why nobody knows what is in the bag."""
    named = product.recipe or product.style
    if named is None:
        return "a product that names neither recipe nor style"
    return f"a product made of {named}, and there is no such card any more"


def _roasting(
    session: Session,
    needs: Needs,
    styles: Sequence[Style],
    gaps: list[tuple[str, str]],
    *,
    last: date,
    settings: Settings,
    at: datetime,
) -> list[Roasting]:
    by_key = {style.name_key: style for style in styles}
    wanted = [
        (by_key[coffee.name], need.to_make_g)
        for coffee, need in needs.coffees.items()
        if coffee.noun == "style"
    ]
    yields = yields_of(session, [style for style, _ in wanted], settings, at)
    to_come = charges_to_come(session, last)
    roasters = {machine.code: machine for machine in reading.roasters(session)}
    lots = reading.lots_on_hand(session)
    free = {lot.code: lot.free_g for lot in lots}
    found = []
    # Those that name their green come first: a guess takes nothing from what is meant.
    for style, to_make_g in sorted(wanted, key=lambda each: (not each[0].green, each[0].name_key)):
        of, coming = yields[style.id or 0], to_come.get(style.id or 0, [])
        one = _batched(style, of, to_make_g, coming, roasters=roasters, settings=settings)
        _fill(one, lots, free, gaps)
        found.append(one)
    return found


def _batched(
    style: Style,
    of: Yield,
    wanted_g: Fraction,
    to_come: Sequence[int],
    *,
    roasters: Mapping[str, Machine],
    settings: Settings,
) -> Roasting:
    planned_g = sum(map(of.roasted_from, to_come))
    to_roast_g = max(wanted_g - planned_g, Fraction())
    machine = roasters.get(style.machine or "")
    if machine is None and len(roasters) == 1:
        (machine,) = roasters.values()
    charge_g = usual_charge(
        style.batch_g, machine.capacity_g if machine else None, settings.usual_charge_pct
    )
    batches = batches_for(to_roast_g, of, charge_g) if charge_g else None
    return Roasting(style, of, planned_g, to_roast_g, machine, charge_g, batches)


def _fill(
    one: Roasting, lots: Sequence[Lot], free: dict[str, int], gaps: list[tuple[str, str]]
) -> None:
    """Take the green of a style off what is free, batch by batch."""
    name = one.style.name
    if not one.to_roast_g:
        return
    slots = slots_of(one.style)
    if not slots:
        one.by_age = True
        slots = [Slot(WHOLE_MILLI, [lot.code for lot in lots])]
        gaps.append((name, "a style that names no green: the oldest lots are shown, none is meant"))
    if one.batches is None:
        gaps.append((name, "a style without a charge and without a drum: no batches"))
        charges = [ceil(one.of.green_for(one.to_roast_g))]
    elif one.batches.charges > MOST_BATCHES:
        gaps.append((name, f"more than {MOST_BATCHES} batches: they are added up"))
        charges = [one.batches.green_g]
    else:
        charges = [one.batches.charge_g] * one.batches.charges
    one.filled = [fill(slots, charge_g, free) for charge_g in charges]
