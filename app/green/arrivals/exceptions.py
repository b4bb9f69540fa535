"""What was wrong with some sacks of an arrived lot."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import insert, select
from sqlmodel import Session, col

from app.green.arrivals.papers import arriving, papers_at
from app.green.arrivals.rules import APART, TELLING
from app.green.arrivals.schemas import ExceptionIn, ExceptionOut
from app.green.arrivals.tables import ArrivalException, ArrivalExceptionSack, ArrivalPhoto
from app.green.tables import Sack
from app.ledger.posting import Pen
from app.ledger.queries import units_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.actions import locate
from app.places.tables import Location
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import FieldRefused, Refused


def record_exception(pen: Pen, code: str, asked: ExceptionIn) -> ExceptionOut:
    """Record what was wrong with some sacks; it holds nothing by itself."""
    lot, _ = arriving(pen, code)
    sacks = _sacks(pen.session, lot, asked.codes or [])
    place = locate(pen, asked.location, "#/location") if asked.location else None
    at = pen.moment(asked.found_at, "#/found_at")
    said = asked.model_dump(mode="json", exclude={"found_at"})
    entry_id = pen.note("arrival exception", {"lot": lot.code, **said}, at)
    found = ArrivalException(
        lot_id=lot.id, entry_id=entry_id, kind=asked.kind,
        sacks=len(sacks) if asked.sacks is None else asked.sacks, grams=asked.grams,
        location_id=place.id if place else None, disposition=asked.disposition, note=asked.note,
    )  # fmt: skip
    pen.session.add(found)
    pen.session.flush()  # the database numbers the exception
    assert found.id is not None  # noqa: S101 - flushed
    if sacks:
        rows = [{"exception_id": found.id, "sack_id": sack.id} for sack in sacks]
        pen.session.execute(insert(ArrivalExceptionSack), rows)
    return ExceptionOut(
        id=found.id, lot=lot.code, kind=asked.kind, sacks=found.sacks,
        codes=[sack.code for sack in sacks], grams=asked.grams,
        location=place.code if place else None, disposition=asked.disposition, note=asked.note,
        photos=[], caution=_caution(asked.kind), found_at=at, found_by=pen.who,
    )  # fmt: skip


def _sacks(session: Session, lot: Unit, codes: Sequence[str]) -> list[Unit]:
    found = units_by_code(session, codes, UnitKind.SACK)
    mine = set(session.scalars(
        select(col(Sack.unit_id))
        .where(col(Sack.lot_id) == lot.id)
        .where(col(Sack.unit_id).in_([unit.id for unit in found.values()]))
    ))  # fmt: skip
    for number, code in enumerate(codes):
        if found[code].id not in mine:
            raise FieldRefused(f"#/codes/{number}", f"{code} is no sack of {lot.code}")
    return [found[code] for code in codes]


def _caution(kind: str) -> str | None:
    return APART if kind in TELLING else None


def exception_page(session: Session, page: Page, code: str, settings: Settings) -> PageOf:
    """Read the exceptions of a lot, oldest first."""
    unit, _ = papers_at(session, code, settings)
    rows, following = turn_page(session, _exceptions([unit.id]), col(ArrivalException.id), page)
    return [each.model_dump() for each in _shown(session, rows)], following


def exceptions_of(session: Session, lot_ids: Sequence[int]) -> list[ExceptionOut]:
    """Read all exceptions of some lots, oldest first."""
    rows = session.execute(_exceptions(lot_ids).order_by(col(ArrivalException.id))).all()
    return _shown(session, rows)


def _exceptions(lot_ids: Sequence[int]) -> AnySelect:
    return (
        select(
            col(ArrivalException.id),
            ArrivalException,
            col(Unit.code).label("lot"),
            col(Location.code).label("place"),
            col(Entry.happened_at),
            col(Entry.who),
        )
        .join(Unit, col(Unit.id) == col(ArrivalException.lot_id))
        .join(Entry, col(Entry.id) == col(ArrivalException.entry_id))
        .outerjoin(Location, col(Location.id) == col(ArrivalException.location_id))
        .where(col(ArrivalException.lot_id).in_(lot_ids))
    )


def exception_at(session: Session, number: int) -> ExceptionOut:
    """Read one exception.

    Raises:
        Refused: `not-found`.
    """
    found = session.get(ArrivalException, number)
    if found is None:
        raise Refused("not-found", f"There is no exception {number}.")
    rows = _exceptions([found.lot_id]).where(col(ArrivalException.id) == number)
    return _shown(session, session.execute(rows).all())[0]


def _shown(session: Session, rows: Sequence[Any]) -> list[ExceptionOut]:
    ids = [row.id for row in rows]
    codes, photos = _codes(session, ids), _photos(session, ids)
    return [
        ExceptionOut(
            id=row.id, lot=row.lot, kind=row.ArrivalException.kind,
            sacks=row.ArrivalException.sacks, codes=codes.get(row.id, []),
            grams=row.ArrivalException.grams, location=row.place,
            disposition=row.ArrivalException.disposition, note=row.ArrivalException.note,
            photos=photos.get(row.id, []), caution=_caution(row.ArrivalException.kind),
            found_at=row.happened_at, found_by=row.who,
        )
        for row in rows
    ]  # fmt: skip


def _codes(session: Session, ids: Sequence[int]) -> Mapping[int, list[str]]:
    found: dict[int, list[str]] = {}
    for number, code in session.execute(
        select(col(ArrivalExceptionSack.exception_id), col(Unit.code))
        .join(Unit, col(Unit.id) == col(ArrivalExceptionSack.sack_id))
        .where(col(ArrivalExceptionSack.exception_id).in_(ids))
        .order_by(col(Unit.id))
    ):
        found.setdefault(number, []).append(code)
    return found


def _photos(session: Session, ids: Sequence[int]) -> Mapping[int, list[int]]:
    found: dict[int, list[int]] = {}
    for number, photo in session.execute(
        select(col(ArrivalPhoto.exception_id), col(ArrivalPhoto.id))
        .where(col(ArrivalPhoto.exception_id).in_(ids))
        .order_by(col(ArrivalPhoto.id))
    ):
        found.setdefault(number, []).append(photo)
    return found
