"""Adjustments of units and of what has mixed in a place."""

from typing import Annotated

from fastapi import Response

from app.ledger.clerk import Clerk, Keyed, allowed
from app.ledger.schemas import Adjusting, AdjustmentIn, AdjustmentOut
from app.roasting.silos import adjusting
from app.roasting.silos.schemas import PlaceAdjustmentOut
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("book")

Adjuster = Annotated[Clerk, allowed(Permission.ADJUST)]


@router.post("/adjustments", status_code=201, response_model=AdjustmentOut, dependencies=[Keyed])
def adjust(clerk: Adjuster, asked: AdjustmentIn) -> Response:
    """Make a sack, roast, blend or pack lighter or heavier, with the reason."""
    return clerk.write(adjusting.adjust, asked)


@router.post(
    "/locations/{code}/adjustments",
    status_code=201,
    response_model=PlaceAdjustmentOut,
    dependencies=[Keyed],
)
def adjust_place(clerk: Adjuster, code: str, asked: Adjusting) -> Response:
    """Make all that has mixed in a silo, hopper or tray lighter or heavier, each by its part."""
    return clerk.write(adjusting.adjust_place, code, asked)
