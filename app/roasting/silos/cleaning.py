"""Cleaning a place: it has to be empty, and nothing carries over past it."""

from datetime import datetime

from sqlmodel import Session

from app.ledger.cards import card_at
from app.ledger.posting import Pen
from app.places.actions import LOCATIONS
from app.places.stays import Stay, stays_at
from app.places.tables import Location
from app.roasting.schemas import CleanDownIn
from app.roasting.silos.schemas import PlaceCleanDownOut
from app.roasting.silos.tables import PlaceCleanDown
from app.shared.codes import some
from app.shared.problems import Refused
from app.shared.times import text


def clean_place(pen: Pen, code: str, asked: CleanDownIn) -> PlaceCleanDownOut:
    """Record that a place was empty and was cleaned.

    Raises:
        Refused: `not-empty` naming what stood in it then.
    """
    place = card_at(pen.session, LOCATIONS, code)
    assert place.id is not None  # noqa: S101 - read from the database
    at = pen.moment(asked.cleaned_at, "#/cleaned_at")
    _refuse_filled(pen.session, place, at)
    said = {"location": place.code, **asked.model_dump(mode="json")}
    entry_id = pen.note("clean-down", said, at)
    cleaned = PlaceCleanDown(
        location_id=place.id, cleaned_at=at, note=asked.note, entry_id=entry_id
    )
    pen.session.add(cleaned)
    pen.session.flush()  # the database numbers it
    assert cleaned.id is not None  # noqa: S101 - flushed
    return PlaceCleanDownOut(
        id=cleaned.id, location=place.code, cleaned_at=at, note=asked.note, cleaned_by=pen.who
    )


def _refuse_filled(session: Session, place: Location, at: datetime) -> None:
    """Refuse to clean around what had come by then and had not gone."""
    assert place.id is not None  # noqa: S101 - read from the database
    there = [stay for stay in stays_at(session, [place.id]) if _stood(stay, at)]
    if there:
        codes = [stay.code for stay in there]
        raise Refused(
            "not-empty",
            f"In {place.code} stood {some(codes)} on {text(at)}: empty it first.",
            location=place.code,
            units=codes,
        )


def _stood(stay: Stay, at: datetime) -> bool:
    return stay.came_at <= at and (stay.went_at is None or at < stay.went_at)
