"""Costs, stock value, expenses, ABC: for buyers and administrators; and age, for everybody."""

from typing import Annotated, Literal

from fastapi import Depends, Path, Query, Response

from app.green.identity.rules import Light
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.days import today_here
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.periods import YearAsked
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import Day
from app.value import actions, ageing, queries, ranking, worth
from app.value.schemas import (
    AbcOut,
    AgedLot,
    CostIn,
    CostOut,
    CostVoided,
    CostVoidIn,
    ExpensesOut,
    LandedOut,
    UnitCostOut,
    ValuationOut,
)

router = api_router("value")

Bookkeeper = Annotated[Clerk, allowed(Permission.COSTS)]
Buyer = Annotated[Clerk, allowed(Permission.PRICES)]


async def _age(
    light: Light | None = None,
    past_crop: bool | None = None,
    reading_due: bool | None = None,
    origin: Annotated[str | None, Query(max_length=2)] = None,
) -> ageing.Wanted:
    return ageing.Wanted(light, past_crop, reading_due, origin and origin.upper())


AgeAsked = Annotated[ageing.Wanted, Depends(_age)]


@router.post("/costs", status_code=201, response_model=CostOut, dependencies=[Keyed])
def add_cost(clerk: Bookkeeper, asked: CostIn) -> Response:
    """Book what a lot, or all lots of a delivery, cost beside the price of the contract.

    A purchase booked here counts instead of that price.
    """
    return clerk.write(actions.add_cost, asked)


@router.get("/costs", response_model=Items[CostOut])
def list_costs(
    clerk: Buyer,
    page: PageAsked,
    lot: Code | None = None,
    delivery: Annotated[str | None, Query(max_length=32)] = None,
) -> Response:
    """List costs in the order they were booked, voided ones too."""
    return page_answer(clerk.request, *clerk.read(queries.cost_page, page, lot, delivery))


@router.post(
    "/costs/{number}/void", status_code=201, response_model=CostVoided, dependencies=[Keyed]
)
def void_cost(
    clerk: Bookkeeper, number: Annotated[int, Path(ge=1, le=2**31 - 1)], asked: CostVoidIn
) -> Response:
    """Take back a cost that was booked by mistake; it stays to be read, marked as voided."""
    return clerk.write(actions.void_cost, number, asked)


@router.get("/lots/{code}/cost", response_model=LandedOut)
def show_landed_cost(clerk: Buyer, code: Code) -> Response:
    """Show the landed cost of a lot: by the kilogram that was landed, not the one shipped."""
    return Answer(clerk.read(queries.landed, code))


@router.get("/units/{code}/cost", response_model=UnitCostOut)
def show_unit_cost(clerk: Buyer, code: Code) -> Response:
    """Show what the green in a roast, blend, pack, dispatch or any other unit cost.

    Roast loss and what blending and packing lose stay in the product. Currencies stay apart.
    """
    return Answer(clerk.read(queries.unit_cost, code, clerk.settings))


@router.get("/valuation", response_model=ValuationOut)
def value_stock(
    clerk: Buyer, on: Annotated[Day | None, Query(description="The day at whose end; today")] = None
) -> Response:
    """Say what the coffee in the house cost, at the end of today or of any day before.

    A day in the past is answered by what had happened by its end, whenever it was booked.
    """
    day = on or today_here()
    if day > today_here():
        said = f"{day} lies ahead: what will be there nobody knows"
        raise Refused("invalid", said, errors=[{"parameter": "on", "detail": said}])
    return Answer(clerk.read(worth.valuation, day, clerk.settings))


@router.get("/expenses", response_model=ExpensesOut)
def show_expenses(clerk: Buyer, period: YearAsked) -> Response:
    """Add up by reason what samples, sweepings and write-offs had cost; the last year unless said.

    Ordinary loss in roasting, blending and packing is no expense: it stays in the product.
    """
    return Answer(clerk.read(worth.expenses, period, clerk.settings))


@router.get("/abc", response_model=AbcOut)
def rank_by_value(
    clerk: Buyer, period: YearAsked, by: Literal["lot", "origin"] = "lot"
) -> Response:
    """Sort what was roasted by its landed cost into A, B and C; the last year unless said.

    What is A is counted most often.
    """
    return Answer(clerk.read(ranking.ranking, period, by, clerk.settings))


@router.get("/ageing", response_model=Items[AgedLot])
def list_by_age(
    clerk: Reader,
    page: PageAsked,
    wanted: AgeAsked,
) -> Response:
    """List lots on hand with their age since harvest and arrival, in the order they came.

    `past_crop=true` lists what a newer crop of the same origin came in after, `reading_due=true`
    what has to be measured. Age warns and never blocks.
    """
    return page_answer(clerk.request, *clerk.read(ageing.ageing_page, page, wanted, clerk.settings))
