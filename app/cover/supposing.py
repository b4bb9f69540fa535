"""What if: a customer joins, a lot fails. Nothing is booked."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from sqlmodel import Session

from app.cover import explosion
from app.cover.explosion import House
from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number
from app.cover.products import Packed, tallies_of
from app.cover.rules import Tally, cover_of, lasting
from app.cover.schemas import By, IfOut, Joining, WhatIfIn, WhatIfOut, WhatIfRow
from app.cover.tallies import Facts, add_up, keys_of, read
from app.ledger.queries import live, units_by_code
from app.ledger.tables import UnitKind
from app.production.schemas import Gap
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.problems import FieldRefused
from app.standards.planning import days_of_cover

_WEEK = 7


class More(NamedTuple):
    """Green that a customer who joins takes a day."""

    sku: str
    component: str
    daily_g: Fraction


class Case(NamedTuple):
    """What is looked at, as it is and as it would be."""

    by: By
    frame: Frame
    house: House
    packed: Packed

    def tallies(self, facts: Facts, gaps: list[Gap]) -> Mapping[str, Sequence[Tally]]:
        """Add everything up: one tally a key, of a product one for each of its components."""
        first = self.frame.asked.first
        if self.by != "product":
            found = add_up(facts, self.by, first).found
            return {key: [tally] for key, tally in found.items()}
        stock = add_up(facts, "component", first).found
        return {
            fold_name(made.product.sku): tallies
            for made, tallies in tallies_of(self.house, self.packed, stock, gaps)
        }

    def ends(self, tallies: Sequence[Tally], more: Mapping[str, Fraction]) -> IfOut:
        """Say how long it lasts with so much more use, by the component that ends first."""
        return min(
            (self._if(each, more.get(fold_name(each.component or ""), Fraction()))
             for each in tallies),
            key=lambda each: (each.days_of_cover is None, each.days_of_cover or 0),
        )  # fmt: skip

    def _if(self, tally: Tally, more: Fraction) -> IfOut:
        frame = self.frame
        daily = cover_of(tally, frame.asked, frame.as_of, frame.calendar).daily_g + more
        days = days_of_cover(tally.available_g, daily, 1)
        return IfOut(
            component=tally.component,
            available_g=tally.available_g,
            daily_use_kg=kg_a_day(daily),
            days_of_cover=number(days),
            runs_out_on=lasting(days, frame.as_of, frame.calendar).on,
        )


def what_if(session: Session, asked: WhatIfIn, settings: Settings) -> WhatIfOut:
    """Hold cover as it is beside cover as it would be."""
    frame = frame_of(Asked(None, asked.window_days, None), settings)
    failed = {live(each).id for each in units_by_code(session, asked.fails, UnitKind.LOT).values()}
    facts = read(
        session, frame.as_of, settings, days=frame.asked.days, sites=asked.by == "site",
        yields=True,
    )  # fmt: skip
    house = explosion.house(session, facts)
    packed = explosion.packed(session, facts.first, frame.as_of) if asked.by == "product" else {}
    case = Case(asked.by, frame, house, packed)
    gaps: list[Gap] = []
    more = [each for i, one in enumerate(asked.joins) for each in _a_day(house, one, i, gaps)]
    left = replace(facts, stock=[each for each in facts.stock if each.lot_id not in failed])
    return WhatIfOut(
        by=asked.by,
        as_of=frame.as_of,
        window_days=frame.asked.days,
        items=_changed(case, facts, left, more, gaps),
        gaps=gaps,
    )


def _changed(
    case: Case, facts: Facts, left: Facts, more: Sequence[More], gaps: list[Gap]
) -> list[WhatIfRow]:
    """Answer what changes alone: what would be used more, and what would be left less of."""
    before, after = case.tallies(facts, []), case.tallies(left, [])
    names: dict[str, str] = {}
    extra: defaultdict[str, defaultdict[str, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    for name, component, daily in _by_key(left, case.by, more, gaps):
        names[fold_name(name)] = name
        extra[fold_name(name)][fold_name(component)] += daily
    rows = []
    for key in sorted({*before, *names}):
        were = before.get(key) or [Tally(names[key])]
        then = after.get(key) or [replace(each, on_hand_g=0, held_g=0) for each in were]
        if key in extra or [each.on_hand_g for each in then] != [each.on_hand_g for each in were]:
            rows.append(WhatIfRow(
                key=were[0].key, name=were[0].name, before=case.ends(were, {}),
                after=case.ends(then, extra[key]),
            ))  # fmt: skip
    return rows


def _a_day(house: House, joining: Joining, number_: int, gaps: list[Gap]) -> list[More]:
    sku = joining.product.strip().upper()
    product = next((each for each in house.products if each.sku == sku), None)
    if product is None:
        pointer = f"#/joins/{number_}/product"
        raise FieldRefused(pointer, f"there is no product {sku}: enter it first",
                           "unknown-reference")  # fmt: skip
    made = house.made(product)
    if made.gap is not None:
        gaps.append(Gap(of=product.sku, why=made.gap))
    a_day = Fraction(joining.bags_a_week * product.nominal_g, _WEEK)
    return [More(sku, component, a_day * green) for component, green in made.green.items()]


def _by_key(
    facts: Facts, by: By, more: Sequence[More], gaps: list[Gap]
) -> list[tuple[str, str, Fraction]]:
    """Put more use to keys: to lots, origins and sites as the usable stock of its component is.

    Each with the component that it is of where there are tallies by component, else with none.
    """
    if by == "product":
        return [(each.sku, each.component, each.daily_g) for each in more]
    if by == "component":
        return [(each.component, "", each.daily_g) for each in more]
    found = []
    for component, daily in _by_component(more).items():
        stock = _stock_of(facts, by, component)
        whole = sum(stock.values())
        if not whole:
            gaps.append(Gap(of=component, why="no lot that can fill it has anything left"))
        found += [(key, "", daily * there / whole) for key, there in stock.items() if there]
    return found


def _by_component(more: Sequence[More]) -> Mapping[str, Fraction]:
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for each in more:
        found[each.component] += each.daily_g
    return found


def _stock_of(facts: Facts, by: By, component: str) -> Mapping[str, int]:
    found: defaultdict[str, int] = defaultdict(int)
    for there in facts.stock:
        fills = facts.styles.fills.get(facts.lots[there.lot_id].code, [])
        if fold_name(component) in map(fold_name, fills):
            (key,) = keys_of(facts, by, there.lot_id, there.place_id)
            found[key.key] += there.on_hand_g - there.held_g
    return found
