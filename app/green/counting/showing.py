"""What a count found, as it is answered: by sack, by lot and in all."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.counting.rules import Found, Moistures, Sums, sums
from app.green.counting.schemas import (
    ComparedAll,
    ComparedLot,
    ComparedSack,
    Figures,
    UncountedLine,
)
from app.green.counting.tables import StockCountLine, StockCountSack
from app.green.readings.rules import drift_of
from app.green.readings.series import points_of
from app.green.tables import Sack
from app.ledger.tables import Entry, Unit
from app.places.tables import Location
from app.shared.db import AnySelect


def figures(session: Session, number: int, ended_id: int) -> Figures:
    """Compare book and count, with what was measured before counting ended."""
    rows = session.execute(standing_lines(number)).all()
    found = {row.id: Found(row.sack_id, row.lot, row.counted_g, row.book_g) for row in rows}
    moistures = _moistures(session, {row.lot_id: row.lot for row in rows}, ended_id)
    by_lot: dict[str, list[Found]] = {}
    for line in found.values():
        by_lot.setdefault(line.lot, []).append(line)
    return Figures(
        sacks=[_sack(row, sums([found[row.id]], moistures)) for row in rows],
        lots=[
            ComparedLot(lot=lot, **_compared(sums(lines, moistures)))
            for lot, lines in by_lot.items()
        ],
        total=ComparedAll(**_compared(sums(found.values(), moistures))),
        not_counted=_not_counted(session, number),
        unexpected=[row.code for row in rows if not row.expected],
    )


def _compared(made: Sums) -> dict[str, Any]:
    return {
        "sacks": made.sacks, "book_g": made.book_g, "counted_g": made.counted_g,
        "variance_g": made.variance_g, "explained_g": made.explained_g,
        "remaining_g": made.remaining_g,
    }  # fmt: skip


def _sack(row: Row[Any], made: Sums) -> ComparedSack:
    figures_of_it = {name: value for name, value in _compared(made).items() if name != "sacks"}
    return ComparedSack(
        sack=row.code, lot=row.lot, location=row.location, expected=row.expected,
        found=row.counted_g is not None, counted_at=row.happened_at, counted_by=row.who,
        **figures_of_it,
    )  # fmt: skip


def newest_lines(number: int) -> AnySelect:
    """Select the number of each sack's newest line: what was counted last, whenever entered."""
    line, counted = aliased(StockCountLine), aliased(Entry)
    ranked = (
        select(
            col(line.id),
            func.row_number()
            .over(
                partition_by=col(line.sack_id),
                order_by=(col(counted.happened_at).desc(), col(line.id).desc()),
            )
            .label("place"),
        )
        .join(counted, col(counted.id) == col(line.entry_id))
        .where(col(line.count_id) == number)
        .subquery()
    )
    return select(ranked.c.id).where(ranked.c.place == 1)


def standing_lines(number: int) -> AnySelect:
    """Select the newest line of each sack of a count, with whether the sheet has the sack.

    A sack that was voided meanwhile never was, so it has no line.
    """
    lot = aliased(Unit)
    expected = (
        select(col(StockCountSack.sack_id))
        .where(col(StockCountSack.count_id) == number)
        .where(col(StockCountSack.sack_id) == col(StockCountLine.sack_id))
        .exists()
    )
    return (
        select(
            col(StockCountLine.id),
            col(StockCountLine.sack_id),
            col(StockCountLine.counted_g),
            col(StockCountLine.book_g),
            col(StockCountLine.entry_id),
            col(Unit.code),
            col(Unit.left_g),
            col(Sack.lot_id),
            col(lot.code).label("lot"),
            col(Location.code).label("location"),
            col(Entry.happened_at),
            col(Entry.who),
            expected.label("expected"),
        )
        .join(Unit, col(Unit.id) == col(StockCountLine.sack_id))
        .join(Sack, col(Sack.unit_id) == col(StockCountLine.sack_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .join(Entry, col(Entry.id) == col(StockCountLine.entry_id))
        .outerjoin(Location, col(Location.id) == col(StockCountLine.location_id))
        .where(
            col(StockCountLine.id).in_(newest_lines(number)), col(Unit.voided_entry_id).is_(None)
        )
        .order_by(col(StockCountLine.sack_id))
    )


def _not_counted(session: Session, number: int) -> Sequence[UncountedLine]:
    lot = aliased(Unit)
    counted = select(col(StockCountLine.sack_id)).where(col(StockCountLine.count_id) == number)
    rows = session.execute(
        select(col(Unit.code), col(lot.code).label("lot"), col(Location.code).label("location"))
        .select_from(StockCountSack)
        .join(Unit, col(Unit.id) == col(StockCountSack.sack_id))
        .join(Sack, col(Sack.unit_id) == col(StockCountSack.sack_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .outerjoin(Location, col(Location.id) == col(StockCountSack.location_id))
        .where(col(StockCountSack.count_id) == number, col(Unit.voided_entry_id).is_(None))
        .where(col(StockCountSack.sack_id).not_in(counted))
        .order_by(col(StockCountSack.sack_id))
    )
    return [UncountedLine(sack=row.code, lot=row.lot, location=row.location) for row in rows]


def _moistures(session: Session, lots: Mapping[int, str], ended_id: int) -> Mapping[str, Moistures]:
    """Find the first and the newest moisture of lots, by one method.

    Readings of the lot as a whole: one wet sack says nothing of the dry ones beside it. One reading
    is not two, and what two methods say cannot be compared.
    """
    found = points_of(session, lots.keys(), booked_before=ended_id)
    drifts = {lots[lot_id]: drift_of(points) for lot_id, points in found.items()}
    return {
        code: Moistures(drift.first.value, drift.newest.value)
        for code, drift in drifts.items()
        if drift is not None and not drift.methods_differ
    }
