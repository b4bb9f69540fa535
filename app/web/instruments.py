"""Instruments: which are due to be calibrated, and the task of recording that one was."""

from collections.abc import Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.green.instruments import actions, queries
from app.green.instruments.rules import DOUBTFUL, CalibrationResult, CalibrationStatus
from app.green.instruments.schemas import CalibrationIn, CalibrationOut, InstrumentDue, InstrumentIn
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Instrument
from app.ledger import cards
from app.shared.codes import fold
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.readings import KINDS
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext, options

router = page_router()

TASKS = (Task("/instruments", N_("Look after instruments"), Room.STORE, Permission.INSTRUMENTS),)

Keeper = Annotated[Desk, may(Permission.INSTRUMENTS)]

STATES: Final = {
    CalibrationStatus.CALIBRATED: N_("calibrated"),
    CalibrationStatus.OVERDUE: N_("overdue: what it shows says nothing for sure"),
    CalibrationStatus.FAILED: N_("failed: do not measure with it"),
    CalibrationStatus.UNKNOWN: N_("never calibrated, and none was asked for"),
}
RESULTS: Final = {
    CalibrationResult.PASSED: N_("passed"),
    CalibrationResult.ADJUSTED: N_("off, and set right"),
    CalibrationResult.FAILED: N_("failed"),
}
_MOST: Final = 500


def due(session: Session) -> Sequence[InstrumentDue]:
    """Read what every instrument is worth today, those that cannot be trusted first."""
    rows, _more = queries.due_page(session, Page(_MOST, 0), None)
    found = [InstrumentDue.model_validate(row) for row in rows]
    return sorted(found, key=lambda each: each.status not in DOUBTFUL)


class Shown(NamedTuple):
    """An instrument with its calibrations, the newest first."""

    card: Instrument
    calibrations: Sequence[CalibrationOut]


def _shown(session: Session, code: str) -> Shown:
    card = cards.card_at(session, INSTRUMENTS, code)
    rows, _more = queries.calibration_page(session, Page(_MOST, 0), code)
    return Shown(card, [CalibrationOut.model_validate(row) for row in reversed(rows)])


def _list(desk: Desk, form: Form[InstrumentIn]) -> Response:
    return desk.show(
        "instruments.html", form, due=desk.read(due), states=STATES, doubtful=DOUBTFUL, kinds=KINDS
    )


@router.get("/instruments")
def show_instruments(desk: Visiting) -> Response:
    """Show every instrument with the day it is due."""
    return _list(desk, desk.blank(InstrumentIn))


@router.post("/instruments")
def add_instrument(desk: Keeper) -> Response:
    """Enter an instrument."""
    form = desk.sent(InstrumentIn)
    if made := desk.book(form, cards.add, INSTRUMENTS):
        return desk.onward(f"/instruments/{made['code']}", _("Entered."))
    return _list(desk, form)


def _one(desk: Desk, code: str, form: Form[Any]) -> Response:
    shown = desk.read(_shown, code)
    results = options(RESULTS)
    return desk.show("instrument.html", form, shown=shown, results=results, words=RESULTS,
                     kinds=KINDS)  # fmt: skip


@router.get("/instruments/{code}")
def show_instrument(desk: Visiting, code: str) -> Response:
    """Show an instrument and its calibrations."""
    return _one(desk, str(fold(code)), desk.blank(CalibrationIn))


@router.post("/instruments/{code}")
def calibrate(desk: Keeper, code: str) -> Response:
    """Record a calibration, and say what is in doubt when it failed."""
    form = desk.sent(CalibrationIn)
    if booked := desk.book(form, actions.calibrate, str(fold(code))):
        return desk.onward(f"/instruments/{fold(code)}", _told(booked))
    return _one(desk, str(fold(code)), form)


def _told(booked: dict[str, Any]) -> str:
    told = _("Put on record.") + f" {booked['instrument']}: {_(STATES[booked['status']])}."
    if booked["in_doubt"]:
        told += " " + ngettext(
            "%(number)s reading since it last passed is in doubt.",
            "%(number)s readings since it last passed are in doubt.",
            booked["in_doubt"],
        ) % {"number": booked["in_doubt"]}
    return told
