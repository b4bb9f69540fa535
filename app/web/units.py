"""The pages of a unit and of a place: what it is, and what happened to it."""

from typing import NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.places.tables import MIXING
from app.shared.codes import fold
from app.web.desk import Visiting
from app.web.facts import Known, known_of
from app.web.gate import CHECKS
from app.web.kinds import REASONS, named
from app.web.life import SHOWN, Life, life
from app.web.offers import offers_of
from app.web.readings import KINDS
from app.web.routing import page_router
from app.web.standing import standing_at
from app.web.tasting import VERDICTS

router = page_router()


class Whole(NamedTuple):
    """A unit with everything that its page shows."""

    unit: Life
    known: Known


def _whole(session: Session, code: str) -> Whole:
    unit = life(session, code)
    return Whole(unit, known_of(session, unit))


@router.get("/u/{code}")
def show_unit(desk: Visiting, code: str) -> Response:
    """Show what a unit is, what can be done with it, and its life as a line of time."""
    unit, known = desk.read(_whole, str(fold(code)))
    offers = offers_of(desk.request.app.state.offers, unit, desk.staff)
    return desk.show(
        "unit.html",
        unit=unit,
        known=known,
        offers=offers,
        named=named,
        most=SHOWN,
        verdicts=VERDICTS,
        checks=CHECKS,
        reasons=REASONS,
        readings=KINDS,
    )


@router.get("/places/{code}")
def show_place(desk: Visiting, code: str) -> Response:
    """Show what stands at a place and below it, and what can be done there."""
    here = desk.read(standing_at, str(fold(code)))
    return desk.show("place.html", here=here, place=here.place, named=named, mixing=MIXING)
