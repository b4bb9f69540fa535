"""Forward cover: how far green goes against the dated plan, and at the average after its end."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from sqlmodel import Session

from app.cover import explosion
from app.cover.explosion import House
from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number
from app.cover.plan import Plan, level, plan
from app.cover.rules import Calendar, Tally, Window, cover_of
from app.cover.schemas import ForwardBy, ForwardOut, ForwardRow
from app.cover.tallies import Facts, add_up, read
from app.production.schemas import Gap
from app.settings import Settings
from app.shared.names import fold_name
from app.standards.planning import Amount, Forward, forward_cover


class Outlook(NamedTuple):
    """What a key has, what is planned to be taken of it, and what is taken a day after that."""

    tally: Tally
    planned: Sequence[Amount]
    then: Fraction

    def lasts(self, stock_g: int) -> Forward:
        """Step through the plan."""
        return forward_cover(stock_g, self.planned, self.then)


class Ahead(NamedTuple):
    """Everything that looking ahead needs, read once."""

    frame: Frame
    facts: Facts
    house: House
    plan: Plan

    @property
    def over(self) -> Window:
        """The window whose average goes on after the plan: the long one."""
        return self.frame.usual[-1]


def look_ahead(session: Session, settings: Settings, days: int) -> Ahead:
    """Read stock, use and the plan of so many days; calendar days, from tomorrow on."""
    frame = frame_of(Asked(None, None, open_days=False), settings)
    facts = read(session, frame.as_of, settings, days=frame.usual[-1].days)
    house = explosion.house(session, settings, frame.as_of)
    return Ahead(frame, facts, house, plan(session, facts, house, days))


def outlooks(ahead: Ahead, by: ForwardBy) -> Iterator[Outlook]:
    """Set what is there against what is planned, for each lot, origin or component."""
    planned = ahead.plan.components
    if by != "component":
        planned = ahead.plan.lots
        origins = {lot.code: lot.origin for lot in ahead.facts.lots.values()}
    sums: dict[str, list[Counter[int]]] = {}
    for key, taken in planned.items():
        name = key if by != "origin" else origins[key]
        sums.setdefault(fold_name(name), []).append(taken)
    for key, tally in add_up(ahead.facts, by, ahead.over.first).found.items():
        rows = [level(taken, ahead.plan.days) for taken in sums.get(key, [])]
        days = [sum(each) for each in zip(*rows, strict=True)] or [0] * ahead.plan.days
        used = cover_of(tally, ahead.over, ahead.frame.as_of, Calendar())
        yield Outlook(tally, days, used.daily_g)


def product_outlooks(session: Session, ahead: Ahead, gaps: list[Gap]) -> Iterator[Outlook]:
    """Do so for each product, by the component that ends first."""
    packed = explosion.packed(session, ahead.over.first, ahead.frame.as_of)
    stock = add_up(ahead.facts, "component", ahead.over.first).found
    for product in ahead.house.products:
        made = ahead.house.made(product)
        if made.gap is not None:
            gaps.append(Gap(of=product.sku, why=made.gap))
            continue
        roasted = level(ahead.plan.products[product.id or 0], ahead.plan.days)
        a_day = Fraction(sum(packed.get(product.id or 0, {}).values()), ahead.over.days)
        found = []
        for component, green in made.green.items():
            there = stock.get(fold_name(component), Tally(component))
            tally = Tally(product.sku, product.name, component=component,
                          on_hand_g=there.on_hand_g, held_g=there.held_g)  # fmt: skip
            found.append(Outlook(tally, [each * green for each in roasted], a_day * green))
        yield min(found, key=lambda each: _ends(each.lasts(each.tally.available_g)))


def _ends(found: Forward) -> tuple[bool, Fraction]:
    return found.days is None, found.days or Fraction()


def forward(session: Session, by: ForwardBy, days: int | None, settings: Settings) -> ForwardOut:
    """Say how far what is there goes against what is planned."""
    ahead = look_ahead(session, settings, days or settings.cover_plan_days)
    gaps: list[Gap] = []
    found = product_outlooks(session, ahead, gaps) if by == "product" else outlooks(ahead, by)
    rows = sorted(
        found, key=lambda each: (*_ends(each.lasts(each.tally.available_g)), each.tally.key)
    )
    return ForwardOut(
        by=by,
        as_of=ahead.frame.as_of,
        plan_days=ahead.plan.days,
        window_days=ahead.over.days,
        items=[_row(each, ahead.frame.as_of) for each in rows],
        short_g=ahead.plan.short_g,
        gaps=gaps,
    )


def _row(each: Outlook, as_of: date) -> ForwardRow:
    tally = each.tally
    usable, released = each.lasts(tally.available_g), each.lasts(tally.on_hand_g)
    return ForwardRow(
        key=tally.key,
        name=tally.name,
        component=tally.component,
        on_hand_g=tally.on_hand_g,
        held_g=tally.held_g,
        available_g=tally.available_g,
        planned_g=ceil(sum(each.planned)),
        daily_use_kg=kg_a_day(each.then),
        days_of_cover=number(usable.days),
        runs_out_on=day_of(as_of, usable.empty_on),
        days_if_released=number(released.days),
        runs_out_if_released_on=day_of(as_of, released.empty_on),
        note=None if usable.days is not None else "neither plan nor use takes all of it",
    )


def day_of(as_of: date, number: int | None) -> date | None:
    """Name a day that is so many after another; None beyond a hundred years."""
    return None if number is None else Calendar().after(as_of, number)
