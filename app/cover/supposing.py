"""What if: a customer joins, a lot fails. Nothing is booked."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from sqlmodel import Session

from app.cover import explosion
from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number
from app.cover.rules import Tally, cover_of, lasting
from app.cover.schemas import IfOut, Joining, WhatIfBy, WhatIfIn, WhatIfOut, WhatIfRow
from app.cover.tallies import Facts, add_up, read
from app.ledger.queries import live, units_by_code
from app.ledger.tables import UnitKind
from app.production.schemas import Gap
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.problems import FieldRefused
from app.standards.planning import days_of_cover

_WEEK = 7


def what_if(session: Session, asked: WhatIfIn, settings: Settings) -> WhatIfOut:
    """Hold cover as it is beside cover as it would be."""
    frame = frame_of(Asked(None, asked.window_days, None), settings)
    failed = {live(each).id for each in units_by_code(session, asked.fails, UnitKind.LOT).values()}
    facts = read(session, frame.as_of, settings, days=frame.asked.days)
    house = explosion.house(session, settings, frame.as_of)
    gaps: list[Gap] = []
    more: defaultdict[str, Fraction] = defaultdict(Fraction)
    for i, joining in enumerate(asked.joins):
        for component, grams in _a_day(house, joining, i, gaps).items():
            more[component] += grams
    left = replace(facts, stock=[each for each in facts.stock if each.lot_id not in failed])
    added = _by_key(left, asked.by, more, gaps)
    before = add_up(facts, asked.by, frame.asked.first).found
    after = add_up(left, asked.by, frame.asked.first).found
    keys = [*before, *(key for key in added if key not in before)]
    rows = []
    for key in keys:
        was = before.get(key) or Tally(added[key][0])
        then = after.get(key) or replace(was, on_hand_g=0, held_g=0)
        extra = added[key][1] if key in added else Fraction()
        if extra or then.on_hand_g != was.on_hand_g:
            rows.append(WhatIfRow(
                key=was.key, name=was.name, before=_if(was, frame, Fraction()),
                after=_if(then, frame, extra),
            ))  # fmt: skip
    return WhatIfOut(
        by=asked.by, as_of=frame.as_of, window_days=frame.asked.days, items=rows, gaps=gaps
    )


def _a_day(
    house: explosion.House, joining: Joining, number_: int, gaps: list[Gap]
) -> Mapping[str, Fraction]:
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
    return {component: a_day * green for component, green in made.green.items()}


def _by_key(
    facts: Facts, by: WhatIfBy, more: Mapping[str, Fraction], gaps: list[Gap]
) -> Mapping[str, tuple[str, Fraction]]:
    """Put more use of components to keys; to lots and origins as their usable stock stands."""
    found: dict[str, tuple[str, Fraction]] = {}
    for component, grams in more.items():
        shares = {component: 1} if by == "component" else _stock_of(facts, by, component)
        whole = sum(shares.values())
        if not whole:
            gaps.append(Gap(of=component, why="no lot that can fill it has anything left"))
        for key, share in shares.items():
            if share:
                before = found.get(fold_name(key), (key, Fraction()))[1]
                found[fold_name(key)] = key, before + grams * share / whole
    return found


def _stock_of(facts: Facts, by: WhatIfBy, component: str) -> Mapping[str, int]:
    found: defaultdict[str, int] = defaultdict(int)
    for there in facts.stock:
        lot = facts.lots[there.lot_id]
        if fold_name(component) in map(fold_name, facts.styles.fills.get(lot.code, [])):
            found[lot.code if by == "lot" else lot.origin] += there.on_hand_g - there.held_g
    return found


def _if(tally: Tally, frame: Frame, more: Fraction) -> IfOut:
    daily = cover_of(tally, frame.asked, frame.as_of, frame.calendar).daily_g + more
    days = days_of_cover(tally.available_g, daily, 1)
    found = lasting(days, frame.as_of, frame.calendar)
    return IfOut(
        available_g=tally.available_g, daily_use_kg=kg_a_day(daily),
        days_of_cover=number(days), runs_out_on=found.on,
    )  # fmt: skip
