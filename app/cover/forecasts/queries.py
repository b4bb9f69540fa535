"""Answering what will be used: for a page of what was used of late."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import NamedTuple

from sqlmodel import Session

from app.cover.forecasts.reading import bags_by_product
from app.cover.forecasts.schemas import By, ForecastRow, ForecastsOut, MethodError
from app.cover.foretelling import WEEK, Foretold, foretell, rounded_float
from app.cover.rules import Tally
from app.cover.tallies import Tallies, add_up, read
from app.settings import Settings
from app.shared.paging import KeyPage, page_by_key

CAUTION = (
    "Reckoned from what was used, as if the trade went on as it did: a new customer, a season or a "
    "lot that is being run out is for people to know. The ranges hold chance and how little is "
    "known, no change."
)


class Asked(NamedTuple):
    """What is to be forecast."""

    by: By
    as_of: date
    weeks_ahead: int


def forecasts(session: Session, page: KeyPage, asked: Asked, settings: Settings) -> ForecastsOut:
    """Forecast what will be used of everything that was used of late."""
    by, as_of, ahead = asked
    weeks = settings.forecast_weeks
    first = as_of - timedelta(days=WEEK * weeks - 1)
    if by == "product":
        sums = Tallies(dict(bags_by_product(session, first, as_of)))
    else:
        facts = read(session, as_of, settings, days=WEEK * weeks, sites=by == "site")
        sums = add_up(facts, by, first)
    used: Mapping[str, Tally] = {
        key: tally for key, tally in sums.found.items() if any(tally.drawn.values())
    }
    shown, following = page_by_key(used, page)
    return ForecastsOut(
        by=by,
        as_of=as_of,
        weeks_ahead=ahead,
        items=[_row(each, foretell(each.drawn, as_of, weeks), ahead) for each in shown],
        next=following,
        apart_g=sums.used_g,
        caution=CAUTION,
    )


def _row(tally: Tally, found: Foretold, ahead: int) -> ForecastRow:
    shape, chosen = found.shape, found.chosen
    counted = found.why_none is None
    low, high = found.within(ahead) if counted else (None, None)
    lasts = found.lasts(tally.available_g) if counted else None
    return ForecastRow(
        key=tally.key,
        name=tally.name,
        weeks=len(found.used),
        used_g=sum(found.used),
        demand_class=shape.demand_class,
        adi=None if shape.adi is None else rounded_float(shape.adi, 3),
        cv2=None if shape.cv2 is None else rounded_float(shape.cv2, 3),
        method=chosen.method,
        weekly_g=found.weekly_g,
        errors=[
            MethodError(method=method, error_g=round(error))
            for method, error in chosen.errors.items()
        ],
        expected_g=round(chosen.forecast.rate * ahead),
        low_g=low,
        high_g=high,
        available_g=tally.available_g,
        days_50=lasts and lasts.half.days,
        days_90=lasts and lasts.nine_of_ten.days,
        note=found.why_none,
    )
