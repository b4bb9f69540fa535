"""Projected stock: the plan, what arrives, and a band around it."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from fractions import Fraction
from math import ceil

from sqlmodel import Session

from app.cover.cards.queries import planning_cards
from app.cover.contracts import Contract
from app.cover.forward import day_of, look_ahead, outlooks
from app.cover.ordering import SERVICE, Item, buying, expected_on, item_of
from app.cover.rules import Band, spread_band
from app.cover.schemas import By, ComingOut, ProjectedDay, ProjectionOut
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.problems import Refused
from app.standards.planning import Amount, root


def projection(session: Session, by: By, key: str, days: int, settings: Settings) -> ProjectionOut:
    """Project the stock of one key.

    Raises:
        Refused: `not-found` where there is no such key.
    """
    ahead = look_ahead(session, settings, by, min(settings.cover_plan_days, days))
    as_of, bought = ahead.known.frame.as_of, buying(ahead.known, planning_cards(session))
    found = [each for each in outlooks(ahead, []) if fold_name(each.tally.key) == fold_name(key)]
    if not found:
        raise Refused("not-found", f"There is no {by} {key} in stock, in use or on order.")
    item = item_of(found[0], ahead.known, bought, settings)
    outlook, ordered = item.outlook, by != "lot"
    coming = [each for each in bought.contracts_of(outlook.tally) if each.open_g]
    arrivals = [_arrival(each, item, as_of) for each in coming]
    shown = list(_days(item, arrivals, as_of, days))
    return ProjectionOut(
        by=by,
        key=outlook.tally.key,
        component=outlook.tally.component,
        as_of=as_of,
        plan_days=ahead.plan.days,
        after_plan=outlook.basis,
        no_forecast=outlook.foresight.why_none,
        service=SERVICE,
        reorder_point_g=item.point_g if ordered else None,
        safety_stock_g=item.safety_g if ordered else None,
        order_by=day_of(as_of, item.days_until(item.position_g)) if ordered else None,
        runs_out_on=next((each.on for each in shown if each.short_g), None),
        arrivals=arrivals,
        days=shown,
    )


def _arrival(contract: Contract, item: Item, as_of: date) -> ComingOut:
    on = expected_on(contract, item.lead, as_of)
    off = timedelta(days=ceil(Fraction(item.z) * root(item.lead.variance)))
    return ComingOut(
        contract=contract.reference,
        supplier=contract.supplier,
        open_g=contract.open_g,
        on=on,
        earliest_on=None if on is None else max(on - off, as_of + timedelta(days=1)),
        latest_on=None if on is None else on + off,
    )


def _days(item: Item, arrivals: list[ComingOut], as_of: date, days: int) -> Iterator[ProjectedDay]:
    """Step from day to day; what is short is not made up for later."""
    due: Counter[date] = Counter()
    for arrival in arrivals:
        if arrival.on is not None:
            due[arrival.on] += arrival.open_g
    outlook = item.outlook
    left = Fraction(outlook.tally.available_g)
    on = [as_of + timedelta(days=day) for day in range(1, days + 1)]
    arriving = [due[day] for day in on]
    wanted = [*outlook.planned, *[outlook.then] * (days - len(outlook.planned))]
    expected = []
    for came, taken in zip(arriving, wanted, strict=True):
        left += came - taken
        expected.append(left)
        left = max(left, Fraction(0))
    bands = _bands(item, arriving, wanted, expected)
    for day, band in enumerate(bands):
        there = round(max(expected[day], Fraction(0)))
        yield ProjectedDay(
            on=on[day],
            planned_g=ceil(wanted[day]),
            arriving_g=arriving[day],
            expected_g=there,
            low_g=min(band.low_90_g, there),
            high_g=max(band.high_90_g, there),
            low_50_g=min(band.low_50_g, there),
            high_50_g=max(band.high_50_g, there),
            short_g=ceil(max(-expected[day], Fraction(0))),
        )


def _bands(
    item: Item, arriving: Sequence[int], wanted: Sequence[Amount], expected: Sequence[Fraction]
) -> Sequence[Band]:
    """Bound the stock of each day: as the forecast plays it, else by how much use varied."""
    outlook = item.outlook
    if outlook.foresight.forecast is not None:
        return outlook.foresight.forecast.bands(outlook.tally.available_g, arriving, wanted)
    return [
        spread_band(max(left, Fraction(0)), item.daily_variance * day)
        for day, left in enumerate(expected, start=1)
    ]
