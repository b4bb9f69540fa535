"""How many days of green there are."""

from typing import Annotated

from fastapi import Depends, Query, Response

from app.cover import forward, ordering, projecting, queries, supposing
from app.cover.frames import Asked
from app.cover.schemas import (
    By,
    CoverOut,
    ForwardOut,
    ItemBy,
    OrdersOut,
    ProjectionOut,
    WhatIfIn,
    WhatIfOut,
)
from app.ledger.clerk import Reader
from app.shared.answers import Answer
from app.shared.routing import api_router
from app.shared.times import Day
from app.shared.turns import reads

router = api_router("cover")


async def _asked(
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
KeyAsked = Annotated[str, Query(min_length=1, max_length=200)]
DaysAhead = Annotated[int, Query(ge=1, le=366, description="How many days ahead")]


@router.get("/cover", response_model=CoverOut)
def show_cover(clerk: Reader, asked: CoverAsked, by: By = "lot") -> Response:
    """Say how many days of green there are, and on which day it runs out.

    What is available divided by what was drawn into roasts a day; samples and write-offs stand
    apart. A day in the past is answered by what had happened by its end, whenever it was booked.
    """
    return Answer(clerk.read(queries.cover, by, asked, clerk.settings))


@router.get("/cover/forward", response_model=ForwardOut)
def show_forward_cover(
    clerk: Reader,
    by: By = "component",
    days: Annotated[
        int | None, Query(ge=1, le=366, description="How many days the plan has")
    ] = None,
) -> Response:
    """Say how far green goes against what orders, standing orders and planned batches take.

    After the plan the forecast goes on, or where there is none the average of the long window. What
    is packed and roasted is used first.
    """
    return Answer(clerk.read(forward.forward, by, days, clerk.settings))


@router.get("/cover/orders", response_model=OrdersOut)
def list_suggested_orders(clerk: Reader, by: ItemBy = "component") -> Response:
    """List what is to be ordered by when and how much, what is due first at the top.

    The level of service is a chance by order cycle, not the share of demand that is filled.
    """
    return Answer(clerk.read(ordering.orders, by, clerk.settings))


@router.get("/cover/projection", response_model=ProjectionOut)
def show_projection(
    clerk: Reader, key: KeyAsked, by: By = "component", days: DaysAhead = 90
) -> Response:
    """Project a stock day by day, with what arrives, and within which bounds it will be."""
    return Answer(clerk.read(projecting.projection, by, key, days, clerk.settings))


@router.post("/cover/what-if", response_model=WhatIfOut)
@reads
def suppose(clerk: Reader, asked: WhatIfIn) -> Response:
    """Say how cover would change if a customer joined or a lot failed. Nothing is booked."""
    return Answer(clerk.read(supposing.what_if, asked, clerk.settings))
