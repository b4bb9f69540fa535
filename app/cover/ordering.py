"""When to order and how much: lead times, safety stock, and quantities in whole units."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from typing import Final, NamedTuple

from sqlmodel import Session

from app.cover.cards.queries import PlanningCards, planning_cards
from app.cover.cards.tables import PlanningCard
from app.cover.contracts import Contract
from app.cover.forward import Ahead, Known, Outlook, day_of, know, look_ahead, outlooks
from app.cover.frames import kg_a_day, number
from app.cover.rules import Calendar, LeadBasis, OrderUnit, Tally, days_between
from app.cover.schemas import ItemBy, LeadTimeOut, OrdersOut, SuggestedOrder
from app.cover.tallies import of_contract
from app.cover.wording import why_text
from app.production.schemas import Gap
from app.settings import Settings
from app.shared.mass import kg_from_grams as from_milli
from app.shared.names import fold_name
from app.shared.shares import plain
from app.shared.speech import N_
from app.standards.planning import (
    Spread,
    days_of_cover,
    order_up_to,
    reorder_point,
    root,
    rounded,
    safety_stock,
    spread,
    variance_in_lead_time,
    whole_units,
    z_of,
)

SERVICE = N_(
    "The level of service is the chance that stock does not run out before an order arrives, "
    "order by order, if use and lead times vary as they did. It is not the share of demand that "
    "is filled."
)


GREEN: Final[Sequence[ItemBy]] = ("component", "origin")
"""By what green is ordered that is no product yet."""


class LeadTime(NamedTuple):
    """From the day of order to the day of arrival."""

    days: Fraction
    variance: Fraction
    basis: LeadBasis
    deliveries: int


class Item(NamedTuple):
    """What can be ordered for, and what its next order is worked out to be."""

    outlook: Outlook
    service_pct: Decimal
    z: Decimal
    daily_variance: Fraction
    lead: LeadTime
    safety_g: int
    point_g: int
    up_to_g: int
    harvest: bool
    unit: OrderUnit
    unit_g: int

    @property
    def daily_g(self) -> Fraction:
        return self.outlook.then

    @property
    def position_g(self) -> int:
        """What is there to be used, and what is coming."""
        return self.outlook.tally.available_g + self.outlook.tally.on_order_g

    def days_until(self, position_g: int) -> int | None:
        """Count the days until a position is down at the reorder point; None where it never is."""
        if position_g <= self.point_g:
            return 0 if self.daily_g or position_g < self.point_g else None
        days = days_of_cover(position_g - self.point_g, self.daily_g, 1)
        return None if days is None else floor(days)

    @property
    def exact_g(self) -> int:
        """How much is to be ordered on the day it is due."""
        return max(self.up_to_g - min(self.position_g, self.point_g), 0) if self.daily_g else 0

    @property
    def units(self) -> int:
        return whole_units(self.exact_g, self.unit_g)


class Buying(NamedTuple):
    """How everything is bought: planning cards and contracts, by the folded key they are for."""

    cards: Mapping[str, PlanningCard]
    contracts: Mapping[str, Sequence[Contract]]

    def contracts_of(self, tally: Tally) -> Sequence[Contract]:
        """Name the contracts that are for a key: those of a product are its component's."""
        return self.contracts.get(fold_name(tally.component or tally.key), [])


def buying(known: Known, cards: PlanningCards) -> Buying:
    """Tell how everything is bought. No contract says to which site it goes, or is for one lot."""
    by = "component" if known.by == "product" else known.by
    contracts: defaultdict[str, list[Contract]] = defaultdict(list)
    for contract in known.facts.contracts:
        meant = of_contract(known.facts, by, contract)
        if meant is not None:
            contracts[fold_name(meant.key)].append(contract)
    return Buying(cards.get(known.by, {}), contracts)


def item_of(outlook: Outlook, known: Known, bought: Buying, settings: Settings) -> Item:
    """Work out the next order of one."""
    tally, over = outlook.tally, known.over
    card = bought.cards.get(fold_name(tally.key))
    drawn = [tally.drawn.get(day, 0) for day in days_between(over.first, known.frame.as_of)]
    varies = spread(drawn).variance or Fraction()
    lead = lead_time(bought.contracts_of(tally), card, settings, known.frame.as_of)
    service_pct = settings.cover_service_pct
    if card is not None and card.service_milli is not None:
        service_pct = from_milli(card.service_milli)
    z = z_of(service_pct)
    safety = safety_stock(z, variance_in_lead_time(outlook.then, varies, lead.days, lead.variance))
    harvest = card is not None and card.harvest_bound
    review = settings.cover_harvest_days if harvest else settings.cover_review_days
    if card is not None and card.review_days is not None:
        review = card.review_days
    unit = OrderUnit(card.order_unit) if card is not None and card.order_unit else OrderUnit.SACK
    return Item(
        outlook,
        service_pct,
        z,
        varies,
        lead,
        ceil(safety),
        ceil(reorder_point(outlook.then, lead.days, safety)),
        ceil(order_up_to(
            outlook.then, varies, review, lead.variance, lead_days=lead.days, z=z
        )),
        harvest,
        unit,
        (card.unit_g if card is not None else None) or _unit_g(unit, settings),
    )  # fmt: skip


def _unit_g(unit: OrderUnit, settings: Settings) -> int:
    sizes: Mapping[OrderUnit, Decimal] = {
        OrderUnit.SACK: settings.cover_sack_kg,
        OrderUnit.PALLET: settings.cover_pallet_kg,
        OrderUnit.CONTAINER: settings.cover_container_kg,
    }
    return int(sizes[unit].scaleb(3))


def lead_time(
    contracts: Collection[Contract], card: PlanningCard | None, settings: Settings, as_of: date
) -> LeadTime:
    """Say how long an order takes and how much that varies.

    By the card, by what was measured, by what was agreed, else by the settings. A spread that
    nobody knows is the settings' too.
    """
    usual = Fraction(settings.cover_lead_time_sd_days) ** 2
    if card is not None and card.lead_time_sd_days is not None:
        usual = Fraction(card.lead_time_sd_days) ** 2
    took = [
        (each.first_on - each.ordered_on).days
        for each in contracts
        if each.first_on and each.ordered_on and each.ordered_on <= each.first_on <= as_of
    ]
    if card is not None and card.lead_time_days is not None:
        return LeadTime(Fraction(card.lead_time_days), usual, LeadBasis.CARD, len(took))
    if took:
        seen = _lead_spread(took, usual, overridden=bool(card and card.lead_time_sd_days))
        return LeadTime(seen.mean, seen.variance or usual, LeadBasis.MEASURED, len(took))
    agreed = [each.lead_time_days for each in contracts if each.lead_time_days is not None]
    if agreed:
        return LeadTime(spread(agreed).mean, usual, LeadBasis.AGREED, 0)
    return LeadTime(Fraction(settings.cover_lead_time_days), usual, LeadBasis.SETTING, 0)


def _lead_spread(took: Sequence[int], usual: Fraction, *, overridden: bool) -> Spread:
    seen = spread(took)
    return Spread(seen.mean, usual if overridden or seen.variance is None else seen.variance)


def orders(session: Session, by: ItemBy, settings: Settings) -> OrdersOut:
    """List what is to be ordered, what is due first at the top."""
    return orders_and_suppliers(session, by, settings)[0]


def orders_and_suppliers(
    session: Session, by: ItemBy, settings: Settings
) -> tuple[OrdersOut, Mapping[str, str]]:
    """List what is to be ordered, and of whom each was bought last, by folded key."""
    ahead = look_ahead(session, settings, by, settings.cover_plan_days)
    facts = ahead.known.facts
    meant = [(of_contract(facts, by, each), each.supplier) for each in facts.contracts]
    bought_of = {fold_name(key.key): supplier for key, supplier in meant if key is not None}
    return _ordered(ahead, by, planning_cards(session), settings), bought_of


def orders_of_green(session: Session, cards: PlanningCards, settings: Settings) -> list[OrdersOut]:
    """List what is to be ordered by component, and by origin: the book is read once for both."""
    ahead = look_ahead(session, settings, "component", settings.cover_plan_days)
    return [
        _ordered(ahead._replace(known=ahead.known._replace(by=by)), by, cards, settings)
        for by in GREEN
    ]


def _ordered(ahead: Ahead, by: ItemBy, cards: PlanningCards, settings: Settings) -> OrdersOut:
    known = ahead.known
    gaps: list[Gap] = []
    rows = _rows(known, list(outlooks(ahead, gaps)), cards, settings)
    return OrdersOut(
        by=by, as_of=known.frame.as_of, window_days=known.over.days, service=SERVICE, items=rows,
        gaps=gaps,
    )  # fmt: skip


def due_orders(session: Session, by: ItemBy, settings: Settings) -> list[SuggestedOrder]:
    """List what is at its order point.

    That hangs on stock, use and what is on order: the plan is not read for it.
    """
    known = know(session, settings, by)
    return [each for each in orders_of(known, planning_cards(session), settings) if each.due]


def orders_of(known: Known, cards: PlanningCards, settings: Settings) -> list[SuggestedOrder]:
    """List what is to be ordered of what is there, was used or is on order."""
    seen = [known.outlook(tally) for tally in known.tallies().values()]
    return _rows(known, seen, cards, settings)


def _rows(
    known: Known, seen: Sequence[Outlook], cards: PlanningCards, settings: Settings
) -> list[SuggestedOrder]:
    as_of, bought = known.frame.as_of, buying(known, cards)
    rows = [_row(item_of(each, known, bought, settings), as_of) for each in seen]
    return sorted(rows, key=lambda row: (row.order_by is None, row.order_by or as_of, row.key))


def _row(item: Item, as_of: date) -> SuggestedOrder:
    tally, days = item.outlook.tally, item.days_until(item.position_g)
    order_by = day_of(as_of, days)
    ends = days_of_cover(tally.available_g, item.daily_g, 1)
    released = item.position_g + tally.held_g
    row = SuggestedOrder(
        key=tally.key,
        name=tally.name,
        component=tally.component,
        method="harvest" if item.harvest else "reorder_point",
        service_pct=item.service_pct,
        z=item.z,
        use_basis=item.outlook.basis,
        daily_use_kg=kg_a_day(item.daily_g),
        daily_sd_kg=kg_a_day(root(item.daily_variance)),
        lead_time=LeadTimeOut(
            days=number(item.lead.days) or Decimal(0),
            sd_days=plain(rounded(root(item.lead.variance))),
            basis=item.lead.basis,
            deliveries=item.lead.deliveries,
        ),
        safety_stock_g=item.safety_g,
        reorder_point_g=item.point_g,
        available_g=tally.available_g,
        held_g=tally.held_g,
        on_order_g=tally.on_order_g,
        position_g=item.position_g,
        due=days == 0,
        order_by=order_by,
        order_by_if_released=day_of(as_of, item.days_until(released)),
        runs_out_on=None if ends is None else Calendar().after(as_of, ceil(ends)),
        order_up_to_g=item.up_to_g,
        exact_g=item.exact_g,
        suggested_g=item.units * item.unit_g,
        unit=item.unit,
        unit_g=item.unit_g,
        units=item.units,
        why="",
    )
    return row.model_copy(update={"why": why_text(row)})


def expected_on(contract: Contract, lead: LeadTime, as_of: date) -> date | None:
    """Say when a contract should arrive; None where nobody knows or the day is past."""
    on = contract.expected_on
    if on is None and contract.ordered_on is not None:
        days = contract.lead_time_days
        on = contract.ordered_on + timedelta(days=ceil(lead.days) if days is None else days)
    return on if on is not None and on > as_of else None
