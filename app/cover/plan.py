"""The dated plan: what orders, standing orders and planned batches take of green, day by day."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.cover.explosion import House
from app.cover.rules import Slot, filled_by
from app.cover.tallies import Facts
from app.green.reservations.queries import OPEN
from app.green.reservations.tables import ReservationLot
from app.ledger.tables import Unit
from app.packing.recipes.rules import WHOLE_MILLI
from app.production import reading
from app.production.reading import Demand
from app.production.rules import Coffee, explode
from app.production.working import coffee_of
from app.roasting.batches.tables import PlannedBatch
from app.shared.periods import Period


class Batch(NamedTuple):
    """What a planned batch takes of one lot."""

    on: date
    style_id: int
    lot: str
    grams: int


@dataclass
class Plan:
    """What is taken on each day from tomorrow on; day 0 is tomorrow."""

    first: date
    days: int
    components: defaultdict[str, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    """Grams by component and day, rounded up to the gram a charge."""
    lots: defaultdict[str, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    """The same by lot, as slots name their lots in order and as long as each lasts."""
    products: defaultdict[int, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    """Roasted grams by product, after what is packed."""
    short_g: int = 0
    """Green that no lot of its slot has."""

    def number(self, day: date) -> int:
        """Number a day; what is late is due on the first."""
        return max((day - self.first).days, 0)

    def take(self, day: int, slot: Slot, grams: int, free: Counter[str]) -> None:
        """Take green for a slot off its lots."""
        self.components[slot.component][day] += grams
        for lot in slot.lots:
            taken = min(grams, free[lot])
            if taken > 0:
                self.lots[lot][day] += taken
                free[lot] -= taken
                grams -= taken
        self.short_g += grams


def level(taken: Counter[int], days: int) -> list[int]:
    """Write what is taken as a row of days."""
    return [taken[day] for day in range(days)]


def plan(session: Session, facts: Facts, house: House, days: int) -> Plan:
    """Lay out what the next days take; what is roasted and packed already is used first.

    A planned batch draws its green on its day, and what it gives is there for the orders after
    it: so it counts once, and what is reserved for it is not taken off besides.
    """
    first = facts.as_of + timedelta(days=1)
    found = Plan(first, days)
    last = first + timedelta(days=days - 1)
    batches = _batches(session, last)
    there = reading.on_hand(session, facts.as_of, house.recipes, house.styles)
    demand = reading.demand_of(session, Period(facts.as_of, last))
    wanted = _wanted(found, house, demand, Counter(there.bags))
    roasted = Counter(there.roasted)
    usable = _usable(facts)
    free = Counter(usable)
    by_day: defaultdict[int, list[Batch]] = defaultdict(list)
    for batch in batches:
        free[batch.lot] -= batch.grams
        by_day[found.number(batch.on)].append(batch)
    walk = _Walk(found, house, roasted, usable, free)
    for day in range(days):
        for batch in by_day[day]:
            walk.roast(day, batch)
        walk.fill(day, wanted[day])
    return found


def _batches(session: Session, last: date) -> Sequence[Batch]:
    rows = session.execute(
        select(
            col(PlannedBatch.planned_for), col(PlannedBatch.style_id), col(Unit.code),
            col(ReservationLot.grams),
        )
        .join(
            ReservationLot,
            col(ReservationLot.reservation_id) == col(PlannedBatch.reservation_id),
        )
        .join(Unit, col(Unit.id) == col(ReservationLot.lot_id))
        .where(OPEN, col(PlannedBatch.planned_for) <= last)
        .order_by(col(PlannedBatch.planned_for), col(PlannedBatch.id))
    )  # fmt: skip
    return [Batch(*row) for row in rows]


def _usable(facts: Facts) -> Counter[str]:
    usable: Counter[str] = Counter()
    for there in facts.stock:
        usable[facts.lots[there.lot_id].code] += there.on_hand_g - there.held_g
    return usable


def _wanted(
    found: Plan, house: House, demand: Demand, packed: Counter[int]
) -> Mapping[int, Mapping[Coffee, int]]:
    """Name what is to be packed on each day, and thus wanted roasted."""
    products = {product.sku: product for product in house.products}
    bags = [(line.due_on, line.sku, line.bags) for line in demand.lines]
    bags += [(each.on, each.sku, each.bags) for each in demand.standing]
    wanted: defaultdict[int, Counter[Coffee]] = defaultdict(Counter)
    for on, sku, count in sorted(bags):
        product = products[sku]
        ready = min(count, packed[product.id or 0])
        packed[product.id or 0] -= ready
        grams = (count - ready) * product.nominal_g
        found.products[product.id or 0][found.number(on)] += grams
        coffee = coffee_of(product, house.cards)
        if coffee is not None and grams:
            wanted[found.number(on)][coffee] += grams
    return wanted


@dataclass
class _Walk:
    """What is there on the way through the days."""

    found: Plan
    house: House
    roasted: Counter[Coffee]
    usable: Counter[str]
    """Grams by lot that batches can draw on."""
    free: Counter[str]
    """And what of them is promised to none."""

    def roast(self, day: int, batch: Batch) -> None:
        """Draw what is reserved for a batch; what it gives is there from now on."""
        style = self.house.by_id[batch.style_id]
        there = min(batch.grams, max(self.usable[batch.lot], 0))
        if there:
            self.found.lots[batch.lot][day] += there
            self.usable[batch.lot] -= there
        self.found.short_g += batch.grams - there
        component = filled_by(self.house.slots(style), [], batch.lot)
        if component is not None:
            self.found.components[component][day] += batch.grams
        gives = self.house.loss_of(style).roasted_from(batch.grams)
        self.roasted[Coffee("style", style.name_key)] += gives

    def fill(self, day: int, wanted: Mapping[Coffee, int]) -> None:
        """Take what is roasted, and green for the rest."""
        exact = {coffee: Fraction(grams) for coffee, grams in wanted.items()}
        for coffee, need in explode(exact, self.house.cards, self.roasted).coffees.items():
            self.roasted[coffee] = max(self.roasted[coffee] - ceil(need.on_hand_g), 0)
            if coffee.noun == "style":
                style = self.house.by_name[coffee.name]
                green = self.house.loss_of(style).green_for(need.to_make_g)
                for slot in self.house.slots(style):
                    part = ceil(green * slot.share_milli / WHOLE_MILLI)
                    self.found.take(day, slot, part, self.free)
