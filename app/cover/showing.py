"""Showing a forecast beside a stock."""

from app.cover.foretelling import Foresight
from app.cover.schemas import ForecastOut


def forecast_out(foresight: Foresight, stock_g: int) -> ForecastOut | None:
    """Say how long stock lasts by a forecast; None where there is none."""
    found = foresight.forecast
    if found is None:
        return None
    half, nine_of_ten = found.lasts(stock_g)
    return ForecastOut(
        method=found.chosen.method,
        demand_class=found.shape.demand_class,
        weeks=len(found.used),
        weekly_g=found.weekly_g,
        days_50=half.days,
        runs_out_50_on=half.on,
        days_90=nine_of_ten.days,
        runs_out_90_on=nine_of_ten.on,
    )
