"""Locations and moves."""

from typing import Annotated

from fastapi import Depends, Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.places import actions, queries
from app.places.schemas import (
    LocationChange,
    LocationIn,
    LocationOut,
    MoveIn,
    MoveLine,
    MoveOut,
    StayLine,
)
from app.places.stays import Window, stay_page
from app.places.tables import PlaceKind
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.times import MomentIn

router = api_router("places")

PlaceKeeper = Annotated[Clerk, allowed(Permission.PLACES)]
Mover = Annotated[Clerk, allowed(Permission.MOVE)]


@router.post("/locations", status_code=201, response_model=LocationOut, dependencies=[Keyed])
def add_location(clerk: PlaceKeeper, asked: LocationIn) -> Response:
    """Enter a place where coffee can stand."""
    return clerk.write(actions.add_location, asked)


@router.get("/locations", response_model=Items[LocationOut])
def list_locations(
    clerk: Reader,
    page: PageAsked,
    parent: Annotated[str | None, Query(max_length=32)] = None,
    kind: PlaceKind | None = None,
) -> Response:
    """List places, in the order they were entered; `parent` asks for what is part of one."""
    return page_answer(clerk.request, *clerk.read(queries.location_page, page, parent, kind))


@router.get("/locations/{code}", response_model=LocationOut)
def show_location(clerk: Reader, code: str) -> Response:
    """Show a place with what stands there and below, and with the `ETag` a change needs."""
    return cards.answer_card(clerk, clerk.read(queries.location, code))


@router.patch("/locations/{code}", response_model=LocationOut)
def change_location(
    clerk: PlaceKeeper, code: str, asked: LocationChange, if_match: IfMatch = None
) -> Response:
    """Change a place; its code stays, and what it is part of once coffee stood there."""
    return clerk.write(actions.change_location, code, asked, if_match)


async def _window(
    since: Annotated[MomentIn | None, Query(alias="from")] = None,
    until: Annotated[MomentIn | None, Query(alias="to")] = None,
) -> Window:
    return Window(since, until)


@router.get("/locations/{code}/stays", response_model=Items[StayLine])
def list_stays(
    clerk: Reader,
    code: str,
    page: PageAsked,
    window: Annotated[Window, Depends(_window)],
    below: Annotated[bool, Query(description="Whether places below it count too")] = True,
) -> Response:
    """List what stood at a place or below it during a time, both ends included."""
    return page_answer(clerk.request, *clerk.read(stay_page, page, code, window, with_parts=below))


@router.post("/moves", status_code=201, response_model=MoveOut, dependencies=[Keyed])
def move(clerk: Mover, asked: MoveIn) -> Response:
    """Move sacks to a place: by name, or all of a place, or all of a lot."""
    return clerk.write(actions.move, asked)


@router.get("/moves", response_model=Items[MoveLine])
def list_moves(
    clerk: Reader, page: PageAsked, unit: Annotated[Code | None, Query()] = None
) -> Response:
    """List what was put where and when, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.move_page, page, unit))
