"""Locations and moves."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.places import actions, queries
from app.places.actions import LOCATIONS
from app.places.schemas import (
    LocationChange,
    LocationIn,
    LocationOut,
    MoveIn,
    MoveLine,
    MoveOut,
)
from app.shared.answers import ExactRoute
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.staff import Permission

router = APIRouter(route_class=ExactRoute, tags=["places"])

PlaceKeeper = Annotated[Clerk, allowed(Permission.PLACES)]
Mover = Annotated[Clerk, allowed(Permission.MOVE)]


@router.post("/locations", status_code=201, response_model=LocationOut, dependencies=[Keyed])
def add_location(clerk: PlaceKeeper, asked: LocationIn) -> Response:
    """Enter a place where coffee can stand."""
    return clerk.write(actions.add_location, asked)


@router.get("/locations", response_model=Items[LocationOut])
def list_locations(clerk: Reader, page: PageAsked) -> Response:
    """List places."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, LOCATIONS, page))


@router.get("/locations/{code}", response_model=LocationOut)
def show_location(clerk: Reader, code: str) -> Response:
    """Show a place, with the `ETag` a change needs."""
    return cards.show(clerk, LOCATIONS, code)


@router.patch("/locations/{code}", response_model=LocationOut)
def change_location(
    clerk: PlaceKeeper, code: str, asked: LocationChange, if_match: IfMatch = None
) -> Response:
    """Change a place; its code stays."""
    return clerk.write(cards.change, LOCATIONS, code, asked, if_match)


@router.post("/moves", status_code=201, response_model=MoveOut, dependencies=[Keyed])
def move(clerk: Mover, asked: MoveIn) -> Response:
    """Move sacks to a place."""
    return clerk.write(actions.move, asked)


@router.get("/moves", response_model=Items[MoveLine])
def list_moves(
    clerk: Reader, page: PageAsked, unit: Annotated[Code | None, Query()] = None
) -> Response:
    """List what was put where and when, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.move_page, page, unit))
