"""Mass balances."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Reader
from app.recall.balance import queries
from app.recall.balance.flow import flow_of_period, flow_of_unit
from app.recall.balance.materials import balance_of_lot
from app.recall.balance.schemas import (
    BalanceOfMaterialLot,
    BalanceOfPeriod,
    BalanceOfUnit,
    FlowOfPeriod,
    FlowOfUnit,
)
from app.shared.answers import PICTURE, Answer, Svg
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.times import MomentIn, text
from app.tracing.flow.schemas import told
from app.tracing.flow.svg import draw

router = api_router("recall")

Most = Annotated[
    int, Query(ge=0, le=500, description="How many entries are named behind each figure")
]

From = Annotated[MomentIn | None, Query(alias="from")]
To = Annotated[MomentIn | None, Query(alias="to")]


@router.get("/mass-balance", response_model=BalanceOfPeriod)
def balance_period(
    clerk: Reader,
    since: From = None,
    until: To = None,
    limit: Most = 50,
) -> Response:
    """Account for all coffee in the house during a period, by when things happened."""
    return Answer(clerk.read(queries.balance_between, since, until, limit))


@router.get("/material-lots/{code}/balance", response_model=BalanceOfMaterialLot)
def balance_material_lot(clerk: Reader, code: Code, limit: Most = 50) -> Response:
    """Account for one lot of packing material, in pieces or metres.

    What came in is left, in bags of packs that stand, spoiled, written off or missed by a count.
    """
    return Answer(clerk.read(balance_of_lot, code, limit))


@router.get("/mass-balance/{code}", response_model=BalanceOfUnit)
def balance_unit(clerk: Reader, code: Code, limit: Most = 50) -> Response:
    """Account for one lot, sack, roast, blend, pack, dispatch or return.

    What came in is left, used, lost, sent, sampled, destroyed or otherwise adjusted; each figure
    names the entries behind it. What was voided drops out.
    """
    return Answer(clerk.read(queries.balance_of, code, limit))


@router.get("/mass-balance-flow", response_model=FlowOfPeriod)
def show_balance_flow_of_period(clerk: Reader, since: From = None, until: To = None) -> Response:
    """Show the mass balance of a period as what flowed in and out of the house."""
    found = clerk.read(queries.balance_between, since, until, 0)
    flow = told(flow_of_period(found))
    return Answer(FlowOfPeriod(since=found.since, until=found.until, **flow))


@router.get("/mass-balance-flow.svg", response_class=Svg, responses=PICTURE)
def draw_balance_flow_of_period(clerk: Reader, since: From = None, until: To = None) -> Response:
    """Draw the mass balance of a period."""
    found = clerk.read(queries.balance_between, since, until, 0)
    began = f"from {text(found.since)} " if found.since else ""
    return Svg(draw(flow_of_period(found), f"Coffee {began}to {text(found.until)}"))


@router.get("/mass-balance/{code}/flow", response_model=FlowOfUnit)
def show_balance_flow_of_unit(clerk: Reader, code: Code) -> Response:
    """Show the mass balance of a unit as what flowed in and out of it."""
    found = clerk.read(queries.balance_of, code, 0)
    return Answer(FlowOfUnit(of=found.of, **told(flow_of_unit(found))))


@router.get("/mass-balance/{code}/flow.svg", response_class=Svg, responses=PICTURE)
def draw_balance_flow_of_unit(clerk: Reader, code: Code) -> Response:
    """Draw the mass balance of a unit."""
    found = clerk.read(queries.balance_of, code, 0)
    return Svg(draw(flow_of_unit(found), f"Mass balance of {found.of.code}"))
