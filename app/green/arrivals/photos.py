"""Keeping photos of exceptions, and giving them back to the byte."""

from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.arrivals.schemas import GivenPhoto, PhotoOut
from app.green.arrivals.tables import ArrivalException, ArrivalPhoto
from app.ledger.posting import Pen
from app.ledger.queries import live
from app.ledger.tables import Unit
from app.shared.problems import Refused


class Kept(NamedTuple):
    """A photo as it was sent."""

    media_type: str
    sha256: str
    content: bytes


def keep_photo(pen: Pen, number: int, given: GivenPhoto) -> PhotoOut:
    """Put a photo to an exception; the journal keeps its hash.

    Raises:
        Refused: `already-done` for the very picture that is there; `invalid` beyond the most.
    """
    found = pen.session.get(ArrivalException, number)
    if found is None:
        raise Refused("not-found", f"There is no exception {number}.")
    lot = live(pen.session.get_one(Unit, found.lot_id))
    _refuse_more(pen, number, given)
    said = given.model_dump()
    entry_id = pen.note("photo", {"lot": lot.code, "exception": number, **said})
    photo = ArrivalPhoto(exception_id=number, entry_id=entry_id, content=given.content, **said)
    pen.session.add(photo)
    pen.session.flush()  # the database numbers the photo
    assert photo.id is not None  # noqa: S101 - flushed
    return PhotoOut(id=photo.id, exception=number, taken_in_at=pen.now, taken_in_by=pen.who, **said)


def _refuse_more(pen: Pen, number: int, given: GivenPhoto) -> None:
    mine = col(ArrivalPhoto.exception_id) == number
    same = pen.session.scalar(
        select(col(ArrivalPhoto.id)).where(mine, col(ArrivalPhoto.sha256) == given.sha256)
    )
    if same is not None:
        raise Refused("already-done", f"That very picture is photo {same} already.", photo=same)
    there = pen.session.scalar(select(func.count()).select_from(ArrivalPhoto).where(mine)) or 0
    if there >= pen.settings.photos_most:
        raise Refused("invalid", f"Exception {number} has {there} photos, which is the most.")


def photo(session: Session, number: int) -> Kept:
    """Read a photo."""
    row = session.execute(
        select(
            col(ArrivalPhoto.media_type), col(ArrivalPhoto.sha256), col(ArrivalPhoto.content)
        ).where(col(ArrivalPhoto.id) == number)
    ).first()
    if row is None:
        raise Refused("not-found", f"There is no photo {number}.")
    return Kept(row.media_type, row.sha256, row.content)
