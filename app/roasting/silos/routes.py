"""What is in a place, and cleaning it."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.roasting.schemas import CleanDownIn
from app.roasting.silos import cleaning, queries
from app.roasting.silos.schemas import ContentsLine, PlaceCleanDownOut
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("places")

Cleaner = Annotated[Clerk, allowed(Permission.CLEAN)]


@router.get("/locations/{code}/contents", response_model=Items[ContentsLine])
def list_contents(
    clerk: Reader,
    code: str,
    page: PageAsked,
    below: Annotated[bool, Query(description="Whether places below it count too")] = True,
) -> Response:
    """List what stands at a place or below it, the oldest unit first, and what may be used.

    In a silo, a hopper or a tray it has mixed: a part of a blend or a pack can name the place.
    """
    return page_answer(clerk.request, *clerk.read(queries.contents_page, page, code, below=below))


@router.post(
    "/locations/{code}/clean-downs",
    status_code=201,
    response_model=PlaceCleanDownOut,
    dependencies=[Keyed],
)
def clean_place(clerk: Cleaner, code: str, asked: CleanDownIn) -> Response:
    """Record that an empty place was cleaned: nothing carries over past it."""
    return clerk.write(cleaning.clean_place, code, asked)


@router.get("/locations/{code}/clean-downs", response_model=Items[PlaceCleanDownOut])
def list_place_clean_downs(clerk: Reader, code: str, page: PageAsked) -> Response:
    """List when a place was cleaned, oldest entry first."""
    return page_answer(clerk.request, *clerk.read(queries.place_clean_down_page, page, code))
