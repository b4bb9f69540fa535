"""Holds, releases and cuppings."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger import actions as ledger
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.ledger.schemas import HoldIn, HoldOut, ReleaseIn
from app.quality import actions, queries
from app.quality.schemas import CuppingIn, CuppingOut, ReleaseOut
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("quality")

Stopper = Annotated[Clerk, allowed(Permission.HOLD)]
Releaser = Annotated[Clerk, allowed(Permission.RELEASE)]
Cupper = Annotated[Clerk, allowed(Permission.CUP)]
HoldNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/holds", status_code=201, response_model=HoldOut, dependencies=[Keyed])
def hold(clerk: Stopper, asked: HoldIn) -> Response:
    """Stop units; holding a lot holds its sacks."""
    return clerk.write(ledger.hold, asked)


@router.get("/holds", response_model=Items[HoldOut])
def list_holds(
    clerk: Reader,
    page: PageAsked,
    unit: Annotated[Code | None, Query()] = None,
    opened: Annotated[bool | None, Query(alias="open")] = None,
) -> Response:
    """List holds, oldest first; `open=true` for those that still stand."""
    return page_answer(clerk.request, *clerk.read(queries.hold_page, page, unit, opened))


@router.post(
    "/holds/{number}/release", status_code=201, response_model=ReleaseOut, dependencies=[Keyed]
)
def release(clerk: Releaser, number: HoldNumber, asked: ReleaseIn) -> Response:
    """End a hold: a decision of quality, with its reason.

    Of an arrival's hold the answer and the journal say what was still to be done with each lot.
    """
    return clerk.write(actions.release, number, asked)


@router.post(
    "/roasts/{code}/cuppings", status_code=201, response_model=CuppingOut, dependencies=[Keyed]
)
def cup(clerk: Cupper, code: Code, asked: CuppingIn) -> Response:
    """Taste a roast and decide what it may be used for.

    `release` frees it; `blend_in` lets it into blends up to a share of each; `rework` lets it in as
    the rework of a recipe; `reject` stops it; `scrap` books off what is left.
    """
    return clerk.write(actions.cup, code, asked)


@router.get("/roasts/{code}/cuppings", response_model=Items[CuppingOut])
def list_cuppings(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the tastings of a roast."""
    return page_answer(clerk.request, *clerk.read(queries.cupping_page, page, code))
