"""Measurements."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.green.readings import actions, queries
from app.green.readings.schemas import ReadingIn, ReadingOut, ReadingVoided, ReadingVoidIn
from app.green.readings.tables import ReadingKind
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("readings")

Measurer = Annotated[Clerk, allowed(Permission.READING)]
Corrector = Annotated[Clerk, allowed(Permission.VOID)]
ReadingNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/readings", status_code=201, response_model=ReadingOut, dependencies=[Keyed])
def take_reading(clerk: Measurer, asked: ReadingIn) -> Response:
    """Record a measurement of a lot, sack, roast or place.

    Green that is out of bounds is held at once, where the roastery has set it so; `alarms` names
    the hold.
    """
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


@router.post(
    "/readings/{number}/void", status_code=201, response_model=ReadingVoided, dependencies=[Keyed]
)
def void_reading(clerk: Corrector, number: ReadingNumber, asked: ReadingVoidIn) -> Response:
    """Take back a reading that was booked by mistake; it stays to be read, marked as voided."""
    return clerk.write(actions.void, number, asked)
