"""Instruments and their calibrations."""

from typing import Annotated

from fastapi import Path, Response

from app.green.instruments import actions, queries
from app.green.instruments.rules import CalibrationStatus
from app.green.instruments.schemas import (
    CalibrationBooked,
    CalibrationIn,
    CalibrationOut,
    CalibrationVoided,
    CalibrationVoidIn,
    InstrumentChange,
    InstrumentDue,
    InstrumentIn,
    InstrumentOut,
)
from app.green.instruments.shelf import INSTRUMENTS
from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("readings")

InstrumentKeeper = Annotated[Clerk, allowed(Permission.INSTRUMENTS)]
CalibrationNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/instruments", status_code=201, response_model=InstrumentOut, dependencies=[Keyed])
def add_instrument(clerk: InstrumentKeeper, asked: InstrumentIn) -> Response:
    """Enter a meter, an oven, a thermometer, with what it measures and how."""
    return clerk.write(cards.add, INSTRUMENTS, asked)


@router.get("/instruments", response_model=Items[InstrumentOut])
def list_instruments(clerk: Reader, page: PageAsked) -> Response:
    """List instruments."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, INSTRUMENTS, page))


@router.get("/instruments/{code}", response_model=InstrumentOut)
def show_instrument(clerk: Reader, code: str) -> Response:
    """Show an instrument, with the `ETag` a change needs."""
    return cards.show(clerk, INSTRUMENTS, code)


@router.patch("/instruments/{code}", response_model=InstrumentOut)
def change_instrument(
    clerk: InstrumentKeeper, code: str, asked: InstrumentChange, if_match: IfMatch = None
) -> Response:
    """Change an instrument; its code stays, and so do the readings taken with it."""
    return clerk.write(cards.change, INSTRUMENTS, code, asked, if_match)


@router.post(
    "/instruments/{code}/calibrations",
    status_code=201,
    response_model=CalibrationBooked,
    dependencies=[Keyed],
)
def calibrate(clerk: InstrumentKeeper, code: str, asked: CalibrationIn) -> Response:
    """Record that an instrument was held against a reference, and how that ended."""
    return clerk.write(actions.calibrate, code, asked)


@router.get("/instruments/{code}/calibrations", response_model=Items[CalibrationOut])
def list_calibrations(clerk: Reader, code: str, page: PageAsked) -> Response:
    """List the calibrations of an instrument in the order they were booked."""
    return page_answer(clerk.request, *clerk.read(queries.calibration_page, page, code))


@router.post(
    "/instruments/{code}/calibrations/{number}/void",
    status_code=201,
    response_model=CalibrationVoided,
    dependencies=[Keyed],
)
def void_calibration(
    clerk: InstrumentKeeper, code: str, number: CalibrationNumber, asked: CalibrationVoidIn
) -> Response:
    """Say that a calibration never was."""
    return clerk.write(actions.void_calibration, code, number, asked)


@router.get("/calibrations-due", response_model=Items[InstrumentDue])
def list_calibrations_due(
    clerk: Reader, page: PageAsked, status: CalibrationStatus | None = None
) -> Response:
    """List what every instrument is worth today; `status=overdue` for those to be calibrated."""
    return page_answer(clerk.request, *clerk.read(queries.due_page, page, status))
