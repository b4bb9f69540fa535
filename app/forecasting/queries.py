"""Reading what was used by week, and forecasting it: a fixed number of statements."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from sqlalchemy import func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.forecasting.schemas import By, ForecastRow, ForecastsOut, MethodError
from app.green.tables import GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Flow, Unit, UnitKind
from app.packing.tables import Pack, Product
from app.roasting.tables import Roast
from app.sending.tables import DispatchLine
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.times import end_of
from app.standards.forecasting import Cover, choose, classify, cover_range, demand_range

WEEK: Final = 7
LOOK_AHEAD_DAYS: Final = 364
CAUTION: Final = (
    "Reckoned from what was used, as if the trade went on as it did: a new customer, a season or a "
    "lot that is being run out is for people to know. The ranges hold chance and how little is "
    "known, no change."
)


def forecasts(
    session: Session, by: By, as_of: date, weeks_ahead: int, settings: Settings
) -> ForecastsOut:
    """Forecast what will be used of everything that was used of late."""
    weeks = settings.forecast_weeks
    over = end_of(as_of)
    used = _by_week(session, by, over, weeks)
    there = _available(session, by)
    return ForecastsOut(
        by=by,
        as_of=as_of,
        weeks_ahead=weeks_ahead,
        items=[
            _row(key, series, weeks_ahead, None if there is None else there.get(key, 0))
            for key, series in sorted(used.items())
        ],
        caution=CAUTION,
    )


def _row(key: str, series: Sequence[int], ahead: int, there_g: int | None) -> ForecastRow:
    shape, chosen = classify(series), choose(series)
    low, high = demand_range(series, chosen.forecast, ahead)
    lasts = None
    if there_g is not None:
        lasts = cover_range(
            there_g, series, days_per_period=WEEK, ahead=chosen.forecast,
            look_ahead_days=LOOK_AHEAD_DAYS,
        )  # fmt: skip
    return ForecastRow(
        key=key, weeks=len(series), used_g=sum(series), demand_class=shape.demand_class,
        adi=_rounded(shape.adi, 3), cv2=_rounded(shape.cv2, 3), method=chosen.method,
        weekly_g=round(chosen.forecast.rate), expected_g=round(chosen.forecast.rate * ahead),
        errors=[MethodError(method=method, error_g=round(error))
                for method, error in chosen.errors.items()],
        low_g=round(low), high_g=round(high), available_g=there_g, **_days(lasts),
    )  # fmt: skip


def _days(lasts: Cover | None) -> dict[str, Decimal | None]:
    return {
        "days_50": _rounded(lasts.days_50 if lasts else None, 1),
        "days_90": _rounded(lasts.days_90 if lasts else None, 1),
    }


def _rounded(number: float | None, places: int) -> Decimal | None:
    return None if number is None else Decimal(round(number * 10**places)).scaleb(-places)


def _by_week(session: Session, by: By, over: datetime, weeks: int) -> Mapping[str, list[int]]:
    """Add up by week what was used of each key, from the first week with any, oldest first."""
    first = over - timedelta(days=WEEK * weeks)
    day = func.date(col(Entry.happened_at))
    key, statement = _uses(by)
    rows = session.execute(
        statement.add_columns(key.label("key"), day.label("day"))
        .where(col(Entry.happened_at) >= first, col(Entry.happened_at) < over)
        .group_by(key, day)
    )
    found: dict[str, Counter[int]] = defaultdict(Counter)
    for grams, name, on in rows:
        # SQLite answers a day as text, PostgreSQL as a date.
        ago = (over.date() - date.fromisoformat(str(on)) - timedelta(days=1)).days // WEEK
        found[name][ago] += int(grams)
    return {
        name: [used[ago] for ago in range(max(used), -1, -1)] for name, used in found.items()
    }  # fmt: skip


def _uses(by: By) -> tuple[Any, AnySelect]:
    """Select what was used, and say by what it is told apart."""
    if by == "product":
        return col(Product.sku), (
            select(func.sum(col(DispatchLine.grams)))
            .join(Unit, col(Unit.id) == col(DispatchLine.dispatch_id))
            .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
            .join(Pack, col(Pack.unit_id) == col(DispatchLine.pack_id))
            .join(Product, col(Product.id) == col(Pack.product_id))
            .where(col(Unit.voided_entry_id).is_(None))
        )
    lot = aliased(Unit)
    drawn: AnySelect = (
        select(func.sum(col(Flow.grams)))
        .join(Unit, col(Unit.id) == col(Flow.target_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .join(Sack, col(Sack.unit_id) == col(Flow.source_id))
        .where(col(Unit.kind) == UnitKind.ROAST, col(Unit.voided_entry_id).is_(None))
    )
    if by == "component":
        style = drawn.join(Roast, col(Roast.unit_id) == col(Unit.id))
        return col(Roast.style), style.where(col(Roast.style).is_not(None))
    if by == "origin":
        return col(GreenLot.origin), drawn.join(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
    return col(lot.code), drawn.join(lot, col(lot.id) == col(Sack.lot_id))


def _available(session: Session, by: By) -> Mapping[str, int] | None:
    """Add up what may be used now; None where what stands there has not one component."""
    if by == "component":
        return None
    if by == "product":
        rows = session.execute(
            select(col(Product.sku), func.sum(col(Unit.left_g)))
            .join(Pack, col(Pack.product_id) == col(Product.id))
            .join(Unit, col(Unit.id) == col(Pack.unit_id))
            .where(col(Unit.left_g) > 0, ~on_hold(col(Unit.id)))
            .group_by(col(Product.sku))
        )
        return {sku: int(grams) for sku, grams in rows}
    lot = aliased(Unit)
    key = col(lot.code) if by == "lot" else col(GreenLot.origin)
    rows = session.execute(
        select(key, func.sum(col(Unit.left_g)))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .where(col(Unit.left_g) > 0, ~on_hold(col(Unit.id)))
        .group_by(key)
    )
    return {name: int(grams) for name, grams in rows}
