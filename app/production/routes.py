"""What has to be roasted today."""

from typing import Annotated

from fastapi import Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.production import actions, queries
from app.production.schemas import NeedsOut, PlanIn, PlanOut
from app.shared.answers import Answer
from app.shared.periods import DayAsked
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("production")

Planner = Annotated[Clerk, allowed(Permission.PLAN)]


@router.get("/production/needs", response_model=NeedsOut)
def show_needs(clerk: Reader, period: DayAsked) -> Response:
    """Say what has to be packed, blended and roasted, and from which green; today unless said.

    Orders that were due before and are still open are in it. What cannot be worked out is named
    among the `gaps`.
    """
    return Answer(clerk.read(queries.needs, period, clerk.settings))


@router.post("/production/plan", status_code=201, response_model=PlanOut, dependencies=[Keyed])
def plan_needs(clerk: Planner, asked: PlanIn) -> Response:
    """Plan the batches that are needed and not planned yet; doing it twice plans nothing twice."""
    return clerk.write(actions.plan_needs, asked)
