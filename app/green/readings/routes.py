"""Measurements."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.green.readings import actions, queries
from app.green.readings.schemas import ReadingIn, ReadingOut
from app.green.readings.tables import ReadingKind
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import ExactRoute
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.staff import Permission

router = APIRouter(route_class=ExactRoute, tags=["green"])

Measurer = Annotated[Clerk, allowed(Permission.READING)]


@router.post("/readings", status_code=201, response_model=ReadingOut, dependencies=[Keyed])
def take_reading(clerk: Measurer, asked: ReadingIn) -> Response:
    """Record a measurement of a lot, sack, roast or place."""
    return clerk.write(actions.read, asked)


@router.get("/readings", response_model=Items[ReadingOut])
def list_readings(
    clerk: Reader,
    page: PageAsked,
    subject: Annotated[str | None, Query(max_length=32)] = None,
    kind: ReadingKind | None = None,
) -> Response:
    """List measurements, oldest first."""
    return page_answer(
        clerk.request,
        *clerk.read(queries.reading_page, page, subject, kind, clerk.settings),
    )
