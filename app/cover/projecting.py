"""Projected stock: the plan, what arrives, and a band around it."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from math import ceil

from sqlmodel import Session

from app.cover.contracts import Contract
from app.cover.forward import day_of, look_ahead
from app.cover.ordering import SERVICE, Item, contracts_of, expected_on, items
from app.cover.schemas import ComingOut, ItemBy, ProjectedDay, ProjectionOut
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.problems import Refused
from app.standards.planning import root


def projection(
    session: Session, by: ItemBy, key: str, days: int, settings: Settings
) -> ProjectionOut:
    """Project the stock of a component or an origin.

    Raises:
        Refused: `not-found` where there is no such key.
    """
    ahead = look_ahead(session, settings, min(settings.cover_plan_days, days))
    as_of = ahead.frame.as_of
    found = [
        each for each in items(session, ahead, by, settings)
        if fold_name(each.outlook.tally.key) == fold_name(key)
    ]  # fmt: skip
    if not found:
        raise Refused("not-found", f"There is no {by} {key} in stock, in use or on order.")
    (item,) = found
    coming = [each for each in contracts_of(ahead.facts, by, key) if each.open_g]
    arrivals = [_arrival(each, item, as_of) for each in coming]
    shown = list(_days(item, arrivals, as_of, days))
    return ProjectionOut(
        by=by,
        key=item.outlook.tally.key,
        as_of=as_of,
        service=SERVICE,
        reorder_point_g=item.point_g,
        safety_stock_g=item.safety_g,
        order_by=day_of(as_of, item.days_until(item.position_g)),
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
    arriving: Counter[date] = Counter()
    for arrival in arrivals:
        if arrival.on is not None:
            arriving[arrival.on] += arrival.open_g
    left, outlook = Fraction(item.outlook.tally.available_g), item.outlook
    for day in range(1, days + 1):
        on = as_of + timedelta(days=day)
        wanted = outlook.planned[day - 1] if day <= len(outlook.planned) else outlook.then
        left += arriving[on] - wanted
        short, left = max(-left, Fraction(0)), max(left, Fraction(0))
        band = Fraction(item.z) * root(item.daily_variance * day)
        yield ProjectedDay(
            on=on,
            planned_g=ceil(wanted),
            arriving_g=arriving[on],
            expected_g=round(left),
            low_g=round(max(left - band, Fraction(0))),
            high_g=round(left + band),
            short_g=ceil(short),
        )
