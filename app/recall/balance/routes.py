"""Mass balances."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.ledger.clerk import Reader
from app.recall.balance import queries
from app.recall.balance.schemas import BalanceOfPeriod, BalanceOfUnit
from app.shared.answers import Answer, ExactRoute
from app.shared.codes import Code
from app.shared.times import MomentIn

router = APIRouter(route_class=ExactRoute, tags=["recall"])

Most = Annotated[
    int, Query(ge=0, le=500, description="How many entries are named behind each figure")
]


@router.get("/mass-balance", response_model=BalanceOfPeriod)
def balance_period(
    clerk: Reader,
    since: Annotated[MomentIn | None, Query(alias="from")] = None,
    until: Annotated[MomentIn | None, Query(alias="to")] = None,
    limit: Most = 50,
) -> Response:
    """Account for all coffee in the house during a period, by when things happened."""
    return Answer(clerk.read(queries.balance_between, since, until, limit))


@router.get("/mass-balance/{code}", response_model=BalanceOfUnit)
def balance_unit(clerk: Reader, code: Code, limit: Most = 50) -> Response:
    """Account for one lot, sack, roast, blend, pack, dispatch or return.

    What came in is left, used, lost, sent, sampled, destroyed or otherwise adjusted; each figure
    names the entries behind it. What was voided drops out.
    """
    return Answer(clerk.read(queries.balance_of, code, limit))
