"""Colours of roasts."""

from typing import Annotated

from fastapi import Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.roasting.colours import actions, queries
from app.roasting.colours.schemas import ColourIn, ColourOut
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("roasting")

Measurer = Annotated[Clerk, allowed(Permission.READING)]


@router.post(
    "/roasts/{code}/colours", status_code=201, response_model=ColourOut, dependencies=[Keyed]
)
def read_colour(clerk: Measurer, code: Code, asked: ColourIn) -> Response:
    """Read the colour of a roast, once or several times of one sample.

    What the gate found when the roast was booked stays; a tasting decides.
    """
    return clerk.write(actions.read_colour, code, asked)


@router.get("/roasts/{code}/colours", response_model=Items[ColourOut])
def list_colours(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the colours of a roast, oldest entry first."""
    return page_answer(clerk.request, *clerk.read(queries.colour_page, page, code))
