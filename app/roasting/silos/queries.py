"""Reading what is in a place, and when it was cleaned."""

from functools import cache

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit
from app.places.actions import LOCATIONS
from app.places.tables import Location, Move
from app.places.tree import STANDING
from app.places.tree import below as at_and_below
from app.quality.rules import UNUSABLE
from app.roasting.queries import DISPOSITION
from app.roasting.silos.tables import PlaceCleanDown
from app.roasting.tables import Roast
from app.shared.db import AnySelect, among
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.shares import percent
from app.shared.times import text


def contents_page(session: Session, page: Page, code: str, *, below: bool) -> PageOf:
    """Read what stands at a place, or below it too, the oldest unit first."""
    place = card_at(session, LOCATIONS, code)
    assert place.id is not None  # noqa: S101 - read from the database
    here = (
        col(Unit.location_id).in_(select(at_and_below(place.id).c.id))
        if below
        else col(Unit.location_id) == place.id
    )
    rows, following = turn_page(session, _standing().where(here), col(Unit.id), page)
    whole_g = _whole(session, {row.location_id for row in rows})
    return [
        {
            "unit": row.code, "kind": row.kind, "location": row.location,
            "kg": kg_from_grams(row.left_g),
            "share_pct": percent(row.left_g, whole_g[row.location_id]),
            "happened_at": text(row.happened_at),
            "came_at": text(row.came_at) if row.came_at else None,
            "disposition": row.disposition, "held": bool(row.held),
            "released": not row.held and row.disposition not in UNUSABLE,
        }
        for row in rows
    ], following  # fmt: skip


@cache
def _standing() -> AnySelect:
    born, came = aliased(Entry), aliased(Entry)
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.left_g),
            col(Unit.location_id),
            col(Location.code).label("location"),
            col(born.happened_at).label("happened_at"),
            col(came.happened_at).label("came_at"),
            case((col(Roast.unit_id).is_not(None), DISPOSITION)).label("disposition"),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Location, col(Location.id) == col(Unit.location_id))
        .join(born, col(born.id) == col(Unit.born_entry_id))
        .outerjoin(Roast, col(Roast.unit_id) == col(Unit.id))
        .outerjoin(Move, col(Move.id) == _last_move())
        .outerjoin(came, col(came.id) == col(Move.entry_id))
        .where(STANDING)
    )


def _last_move() -> ColumnElement[int]:
    last = aliased(Move)
    return (
        select(func.max(col(last.id)))
        .where(col(last.unit_id) == col(Unit.id))
        .correlate(Unit)
        .scalar_subquery()
    )


def _whole(session: Session, place_ids: set[int]) -> dict[int, int]:
    rows = session.execute(
        select(col(Unit.location_id), func.sum(col(Unit.left_g)))
        .where(among(session, col(Unit.location_id), place_ids), STANDING)
        .group_by(col(Unit.location_id))
    )
    return {place_id: int(grams) for place_id, grams in rows}


def place_clean_down_page(session: Session, page: Page, code: str) -> PageOf:
    """Read when a place was cleaned."""
    place = card_at(session, LOCATIONS, code)
    cleaned = PlaceCleanDown
    statement: AnySelect = (
        select(
            col(cleaned.id),
            col(cleaned.cleaned_at),
            col(cleaned.note),
            col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(cleaned.entry_id))
        .outerjoin(ActVoid, col(ActVoid.place_clean_down_id) == col(cleaned.id))
        .where(col(cleaned.location_id) == place.id)
    )
    rows, following = turn_page(session, statement, col(cleaned.id), page)
    return [
        {
            "id": row.id, "location": place.code, "cleaned_at": text(row.cleaned_at),
            "note": row.note, "cleaned_by": row.who, "voided": row.void_reason is not None,
            "void_reason": row.void_reason,
        }
        for row in rows
    ], following  # fmt: skip
