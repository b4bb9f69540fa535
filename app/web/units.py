"""The pages of a unit and of a place: what it is, and what happened to it."""

from fastapi import APIRouter, Response

from app.shared.codes import fold
from app.web.desk import Visiting
from app.web.kinds import named
from app.web.life import SHOWN, life
from app.web.standing import standing_at

router = APIRouter(include_in_schema=False)


@router.get("/u/{code}")
def show_unit(desk: Visiting, code: str) -> Response:
    """Show the life of a unit as a line of time."""
    return desk.show("unit.html", unit=desk.read(life, str(fold(code))), named=named, most=SHOWN)


@router.get("/places/{code}")
def show_place(desk: Visiting, code: str) -> Response:
    """Show what stands at a place and below it, and what can be done there."""
    here = desk.read(standing_at, str(fold(code)))
    return desk.show("place.html", here=here, place=here.place, named=named)
