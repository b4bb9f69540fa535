"""What will be used."""

from typing import Annotated

from fastapi import Query, Response

from app.cover.forecasts import queries
from app.cover.forecasts.schemas import By, ForecastsOut
from app.ledger.clerk import Reader
from app.shared.days import today_here
from app.shared.paging import KeyPageAsked, computed_page
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.times import Day

router = api_router("cover")


@router.get("/forecasts", response_model=ForecastsOut)
def forecast_use(
    clerk: Reader,
    page: KeyPageAsked,
    by: By = "lot",
    as_of: Annotated[Day | None, Query(description="The last day that is looked at; today")] = None,
    weeks_ahead: Annotated[int, Query(ge=1, le=52)] = 4,
) -> Response:
    """Forecast what will be used, by the method that erred least, and how long stock will last.

    Demand comes now and then, so every figure has a range. Holds are those of now.
    """
    day = as_of or today_here()
    if day > today_here():
        said = f"{day} lies ahead: what will have been used by then nobody knows"
        raise Refused("invalid", said, errors=[{"parameter": "as_of", "detail": said}])
    found = clerk.read(queries.forecasts, page, queries.Asked(by, day, weeks_ahead), clerk.settings)
    return computed_page(clerk.request, found, found.next)
