"""What readings say of lots and rooms, and what moisture a room pulls coffee towards."""

from typing import Annotated

from fastapi import Query, Response

from app.green.condition import climate, equilibrium, queries
from app.green.condition.schemas import (
    EquilibriumOut,
    LotCondition,
    WatchedLot,
    WatchedPlace,
)
from app.green.readings.rules import Band
from app.ledger.clerk import Reader
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router

router = api_router("readings")


@router.get("/lots/{code}/moisture", response_model=LotCondition)
def show_lot_moisture(clerk: Reader, code: Code) -> Response:
    """Show what readings say of a lot: bands, trends by method, drift, and where its rooms pull it.

    Where nothing was measured for too long, or with an instrument that was overdue or had failed,
    the status is `unknown`. The advice on rooms is no measurement and lets no coffee go.
    """
    return Answer(clerk.read(queries.lot_condition, code, clerk.settings))


@router.get("/moisture-watch", response_model=Items[WatchedLot])
def watch_moisture(
    clerk: Reader, page: PageAsked, status: Band | None = None, overdue: bool | None = None
) -> Response:
    """List lots on hand that are red, unknown or amber, in the order they came."""
    return page_answer(
        clerk.request, *clerk.read(queries.watch_page, page, clerk.settings, status, overdue)
    )


@router.get("/climate-watch", response_model=Items[WatchedPlace])
def watch_climate(clerk: Reader, page: PageAsked, status: Band | None = None) -> Response:
    """List places whose climate is red, unknown or amber, in the order of their cards."""
    return page_answer(
        clerk.request, *clerk.read(climate.climate_page, page, clerk.settings, status)
    )


@router.get("/equilibrium", response_model=EquilibriumOut)
def show_equilibrium(
    _: Reader,
    temperature_c: Annotated[str, Query(max_length=20)],
    relative_humidity_pct: Annotated[str | None, Query(max_length=20)] = None,
    moisture_pct: Annotated[str | None, Query(max_length=20)] = None,
) -> Response:
    """Tell what moisture a room pulls coffee towards, or in which humidity a moisture stays.

    Give the temperature with either the relative humidity or the moisture. The model is for
    parchment coffee that dries: advice, no measurement.
    """
    return Answer(equilibrium.answer(temperature_c, relative_humidity_pct, moisture_pct))
