"""Drills."""

from typing import Annotated

from fastapi import Path, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.recall.drills import actions, picking, queries
from app.recall.drills.schemas import (
    CompletionIn,
    DrillIn,
    DrillList,
    DrillOut,
    PickIn,
    PickOut,
    SignOffIn,
)
from app.recall.routes import CAUTIONED
from app.recall.schemas import CautionedItems
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("recall")

Recaller = Annotated[Clerk, allowed(Permission.RECALL)]
Signer = Annotated[Clerk, allowed(Permission.SIGN_DRILL)]
DrillCode = Annotated[Code, Path(description="The code of a drill")]


@router.post("/drills/pick", status_code=201, response_model=PickOut, dependencies=[Keyed])
def pick_drill(clerk: Recaller, asked: PickIn) -> Response:
    """Draw a green lot, a pack and a lot of packing material at random, rare ones too.

    Every draw is kept with its seed.
    """
    return clerk.write(picking.pick, asked)


@router.get("/drills/picks", response_model=CautionedItems[PickOut])
def list_drill_picks(clerk: Reader, page: PageAsked) -> Response:
    """List every draw, those that no drill came of too."""
    return page_answer(clerk.request, *clerk.read(picking.pick_page, page), CAUTIONED)


@router.post("/drills", status_code=201, response_model=DrillOut, dependencies=[Keyed])
def begin_drill(clerk: Recaller, asked: DrillIn) -> Response:
    """Begin a drill: a lot is traced forward and a pack backward, and the clock runs.

    A drill is a case that tells nobody and holds nothing; its code works under `/recalls` too.
    """
    return clerk.write(actions.begin, asked)


@router.get("/drills", response_model=DrillList)
def list_drills(clerk: Reader, page: PageAsked) -> Response:
    """List drills, when the next one is due, and how the last ones went."""
    items, following = clerk.read(queries.drill_page, page, clerk.settings)
    more = {
        **CAUTIONED,
        "due": clerk.read(queries.due, clerk.settings).model_dump(),
        "trend": [each.model_dump() for each in clerk.read(queries.trend, clerk.settings)],
    }
    return page_answer(clerk.request, items, following, more)


@router.get("/drills/{code}", response_model=DrillOut)
def show_drill(clerk: Reader, code: DrillCode) -> Response:
    """Show a drill: as it was completed or, while it runs, as the book has it now."""
    return Answer(clerk.read(queries.drill, code, clerk.settings))


@router.post(
    "/drills/{code}/complete", status_code=201, response_model=DrillOut, dependencies=[Keyed]
)
def complete_drill(clerk: Recaller, code: DrillCode, asked: CompletionIn) -> Response:
    """Stop the clock, and keep the figures and the gaps."""
    return clerk.write(actions.complete, code, asked)


@router.post(
    "/drills/{code}/sign-off", status_code=201, response_model=DrillOut, dependencies=[Keyed]
)
def sign_off_drill(clerk: Signer, code: DrillCode, asked: SignOffIn) -> Response:
    """Sign off a drill that somebody else ran."""
    return clerk.write(actions.sign_off, code, asked)
