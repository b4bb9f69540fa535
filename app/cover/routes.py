"""How many days of green there are."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from app.cover import queries
from app.cover.queries import Asked
from app.cover.schemas import By, CoverOut
from app.ledger.clerk import Reader
from app.shared.answers import Answer, ExactRoute
from app.shared.times import Day

router = APIRouter(route_class=ExactRoute, tags=["cover"])


def _asked(
    as_of: Annotated[Day | None, Query(description="The day at whose end; today")] = None,
    window_days: Annotated[
        int | None, Query(ge=1, le=1098, description="Over how many days use is averaged")
    ] = None,
    open_days: Annotated[
        bool | None, Query(description="Whether closed days are left out of the count")
    ] = None,
) -> Asked:
    return Asked(as_of, window_days, open_days)


CoverAsked = Annotated[Asked, Depends(_asked)]


@router.get("/cover", response_model=CoverOut)
def show_cover(clerk: Reader, asked: CoverAsked, by: By = "lot") -> Response:
    """Say how many days of green there are, and on which day it runs out.

    What is available divided by what was drawn into roasts a day; samples and write-offs stand
    apart. A day in the past is answered by what had happened by its end, whenever it was booked.
    """
    return Answer(clerk.read(queries.cover, by, asked, clerk.settings))
