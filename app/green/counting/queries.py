"""Reading stock counts: the blind sheet, how far a count has come, and what it found."""

from collections.abc import Sequence
from functools import cache
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.counting.rules import Status
from app.green.counting.schemas import CountOut, SheetLine, SheetOut
from app.green.counting.showing import figures, newest_lines
from app.green.counting.tables import (
    StockCount,
    StockCountClose,
    StockCountDecision,
    StockCountLine,
    StockCountSack,
)
from app.green.tables import Sack
from app.ledger.tables import Entry, Unit
from app.places.tables import Location
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text


@cache
def counts() -> AnySelect:
    """Select counts with what happened to them."""
    opened, closed, decided = aliased(Entry), aliased(Entry), aliased(Entry)
    return (
        select(
            col(StockCount.id),
            col(StockCount.note),
            col(StockCount.lot_id),
            col(StockCount.location_id),
            col(StockCount.entry_id),
            col(Location.code).label("location"),
            col(Unit.code).label("lot"),
            col(opened.happened_at).label("opened_at"),
            col(opened.who).label("opened_by"),
            col(StockCountClose.entry_id).label("close_id"),
            col(closed.happened_at).label("closed_at"),
            col(closed.who).label("closed_by"),
            col(StockCountDecision.entry_id).label("decision_id"),
            col(StockCountDecision.approved),
            col(StockCountDecision.reason),
            col(decided.happened_at).label("decided_at"),
            col(decided.who).label("decided_by"),
        )
        .join(opened, col(opened.id) == col(StockCount.entry_id))
        .outerjoin(Location, col(Location.id) == col(StockCount.location_id))
        .outerjoin(Unit, col(Unit.id) == col(StockCount.lot_id))
        .outerjoin(StockCountClose, col(StockCountClose.count_id) == col(StockCount.id))
        .outerjoin(closed, col(closed.id) == col(StockCountClose.entry_id))
        .outerjoin(StockCountDecision, col(StockCountDecision.count_id) == col(StockCount.id))
        .outerjoin(decided, col(decided.id) == col(StockCountDecision.entry_id))
    )


def count_row(session: Session, number: int) -> Row[Any]:
    """Find a count."""
    row = session.execute(counts().where(col(StockCount.id) == number)).first()
    if row is None:
        raise Refused("not-found", f"There is no stock count {number}.")
    return row


def status_of(row: Row[Any]) -> Status:
    """Tell how far a count has come."""
    if row.decision_id is not None:
        return Status.APPROVED if row.approved else Status.REJECTED
    return Status.OPEN if row.close_id is None else Status.CLOSED


def count(session: Session, number: int) -> CountOut:
    """Read a count; what it found is shown once counting has ended."""
    return count_out(session, count_row(session, number))


def count_out(session: Session, row: Row[Any]) -> CountOut:
    """Show a count."""
    status = status_of(row)
    ended_id = row.close_id or row.decision_id
    expected = session.scalar(
        select(func.count())
        .select_from(StockCountSack)
        .where(col(StockCountSack.count_id) == row.id)
    )
    counted = session.scalar(
        select(func.count(col(StockCountLine.sack_id).distinct())).where(
            col(StockCountLine.count_id) == row.id
        )
    )
    return CountOut(
        **_brief(row),
        expected_sacks=expected or 0,
        counted_sacks=counted or 0,
        figures=None if status is Status.OPEN else figures(session, row.id, ended_id),
        entry=row.decision_id or row.close_id or row.entry_id,
    )


def _brief(row: Row[Any]) -> dict[str, Any]:
    return {
        "id": row.id, "location": row.location, "lot": row.lot, "note": row.note,
        "status": status_of(row), "opened_at": row.opened_at, "opened_by": row.opened_by,
        "closed_at": row.closed_at, "closed_by": row.closed_by, "decided_at": row.decided_at,
        "decided_by": row.decided_by, "reason": row.reason,
    }  # fmt: skip


def undecided() -> AnySelect:
    """Select the counts that have ended and on which nobody decided."""
    closed, decided = col(StockCountClose.entry_id), col(StockCountDecision.entry_id)
    of_what = func.coalesce(col(Location.code), col(Unit.code)).label("of_what")
    return counts().add_columns(of_what).where(closed.is_not(None), decided.is_(None))


def count_page(session: Session, page: Page, status: Status | None) -> PageOf:
    """Read counts in the order they were opened."""
    statement = counts()
    closed, decided = col(StockCountClose.entry_id), col(StockCountDecision.entry_id)
    if status is Status.OPEN:
        statement = statement.where(closed.is_(None), decided.is_(None))
    elif status is Status.CLOSED:
        statement = statement.where(closed.is_not(None), decided.is_(None))
    elif status is not None:
        statement = statement.where(col(StockCountDecision.approved).is_(status is Status.APPROVED))
    rows, following = turn_page(session, statement, col(StockCount.id), page)
    return [
        {name: text(value) if name.endswith("_at") and value else value
         for name, value in _brief(row).items()}
        for row in rows
    ], following  # fmt: skip


def sheet(session: Session, number: int) -> SheetOut:
    """Read the sheet to count by: places and codes, and no mass."""
    row = count_row(session, number)
    return SheetOut(
        id=row.id, location=row.location, lot=row.lot, note=row.note, opened_at=row.opened_at,
        opened_by=row.opened_by, sacks=_sheet_lines(session, number),
    )  # fmt: skip


def _sheet_lines(session: Session, number: int) -> Sequence[SheetLine]:
    lot = aliased(Unit)
    counted = (
        select(col(StockCountLine.id))
        .where(col(StockCountLine.count_id) == number)
        .where(col(StockCountLine.sack_id) == col(StockCountSack.sack_id))
        .exists()
    )
    rows = session.execute(
        select(
            col(Unit.code),
            col(lot.code).label("lot"),
            col(Sack.number),
            col(Location.code).label("location"),
            counted.label("counted"),
        )
        .select_from(StockCountSack)
        .join(Unit, col(Unit.id) == col(StockCountSack.sack_id))
        .join(Sack, col(Sack.unit_id) == col(StockCountSack.sack_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .outerjoin(Location, col(Location.id) == col(StockCountSack.location_id))
        .where(col(StockCountSack.count_id) == number, col(Unit.voided_entry_id).is_(None))
    )
    lines = [
        SheetLine(
            sack=row.code, lot=row.lot, number=row.number, location=row.location,
            counted=bool(row.counted),
        )
        for row in rows
    ]  # fmt: skip
    # As somebody walks: place by place. Here, since databases sort letters differently.
    return sorted(lines, key=lambda line: (line.location or "", line.lot, line.number))


def line_page(session: Session, page: Page, number: int) -> PageOf:
    """Read every line of a count that has ended, those that a later one replaced too."""
    row = count_row(session, number)
    if status_of(row) is Status.OPEN:
        raise Refused(
            "count-state",
            f"Count {number} is open: what was counted is shown once counting has ended.",
            count_status=Status.OPEN,
        )
    statement = (
        select(
            col(StockCountLine.id),
            col(Unit.code),
            col(StockCountLine.counted_g),
            col(StockCountLine.book_g),
            col(Entry.happened_at),
            col(Entry.who),
            col(StockCountLine.id).in_(newest_lines(number)).label("stands"),
        )
        .join(Unit, col(Unit.id) == col(StockCountLine.sack_id))
        .join(Entry, col(Entry.id) == col(StockCountLine.entry_id))
        .where(col(StockCountLine.count_id) == number)
    )
    rows, following = turn_page(session, statement, col(StockCountLine.id), page)
    return [
        {
            "id": row.id, "sack": row.code, "found": row.counted_g is not None,
            "counted_kg": kg_from_grams(row.counted_g or 0), "book_kg": kg_from_grams(row.book_g),
            "counted_at": text(row.happened_at), "counted_by": row.who,
            "stands": bool(row.stands),
        }
        for row in rows
    ], following  # fmt: skip
