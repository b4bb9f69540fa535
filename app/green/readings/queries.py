"""Reading measurements back."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import case, func, select
from sqlmodel import Session, col

from app.green.readings.actions import judge
from app.green.readings.tables import Reading, ReadingKind
from app.green.tables import Sack
from app.ledger.cards import find
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit
from app.places.actions import LOCATIONS
from app.places.tables import Location
from app.settings import Settings
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def latest_moisture(session: Session, lot_ids: list[int]) -> Mapping[int, Decimal]:
    """Find the newest moisture reading of each lot or of any of its sacks."""
    lot_id = case((col(Sack.lot_id).is_not(None), col(Sack.lot_id)), else_=col(Reading.unit_id))
    newest = (
        select(
            lot_id.label("lot_id"),
            col(Reading.value_milli),
            func.row_number()
            .over(
                partition_by=lot_id,
                order_by=(col(Entry.happened_at).desc(), col(Reading.id).desc()),
            )
            .label("place"),
        )
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .outerjoin(Sack, col(Sack.unit_id) == col(Reading.unit_id))
        .where(col(Reading.kind) == ReadingKind.MOISTURE, lot_id.in_(lot_ids))
        .subquery()
    )
    rows = session.execute(select(newest.c.lot_id, newest.c.value_milli).where(newest.c.place == 1))
    return {row_lot: kg_from_grams(milli) for row_lot, milli in rows}


def reading_page(
    session: Session,
    page: Page,
    subject: str | None,
    kind: ReadingKind | None,
    settings: Settings,
) -> PageOf:
    """Read measurements in the order they were booked."""
    statement = (
        select(
            col(Reading.id),
            func.coalesce(col(Unit.code), col(Location.code)).label("subject"),
            col(Reading.kind),
            col(Reading.value_milli),
            col(Reading.instrument),
            col(Entry.happened_at),
            col(Entry.who),
        )
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .outerjoin(Unit, col(Unit.id) == col(Reading.unit_id))
        .outerjoin(Location, col(Location.id) == col(Reading.location_id))
    )
    if subject is not None:
        folded = subject.upper()
        if find(session, LOCATIONS, folded) is None:
            unit_by_code(session, folded)
        statement = statement.where((col(Unit.code) == folded) | (col(Location.code) == folded))
    if kind is not None:
        statement = statement.where(col(Reading.kind) == kind)
    rows, following = turn_page(session, statement, col(Reading.id), page)
    return [_reading_line(row, settings) for row in rows], following


def _reading_line(row: Any, settings: Settings) -> dict[str, object]:  # noqa: ANN401 - see above
    value = kg_from_grams(row.value_milli)
    verdict = judge(ReadingKind(row.kind), value, settings)
    return {
        "id": row.id, "subject": row.subject, "kind": row.kind, "value": value,
        "taken_at": text(row.happened_at), "instrument": row.instrument, "taken_by": row.who,
        "in_range": verdict.in_range, "range": list(verdict.limits) if verdict.limits else None,
    }  # fmt: skip
