"""The order of work on arrived lots: what is done, what is open, what came of it."""

from collections.abc import Collection, Mapping
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, case, exists, func, literal, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.arrivals.holds import DELIVERY
from app.green.arrivals.newest import Fact, newest
from app.green.arrivals.rules import Step, open_steps
from app.green.arrivals.schemas import LotArrival
from app.green.arrivals.tables import (
    ArrivalCount,
    ArrivalInspection,
    ArrivalWeight,
    ReceiptClose,
)
from app.green.readings.series import standing
from app.green.readings.tables import Reading, ReadingKind
from app.green.tables import Condition, Delivery, GreenLot, Sack
from app.ledger.tables import Adjustment, Entry, Reason, Unit
from app.places.tree import STANDING
from app.shared.db import AnySelect, among
from app.standards.buying import Count, reconcile

Counts = Mapping[int, Fact[ArrivalCount]]
"""The newest count of each lot."""


def arrivals_of(session: Session, lot_ids: Collection[int]) -> Mapping[int, LotArrival]:
    """Say how far the work on each of these lots is; opening stock is left out.

    Two statements, however many lots there are.
    """
    return standing_of(session, lot_ids, newest(session, ArrivalCount, lot_ids))


def standing_of(
    session: Session, lot_ids: Collection[int], counts: Counts
) -> Mapping[int, LotArrival]:
    """Say so, with the newest counts that were read."""
    found = {}
    for row in session.execute(_steps().where(among(session, col(GreenLot.unit_id), lot_ids))):
        counted = counts.get(row.unit_id)
        done: set[Step] = {step for step in Step if step is not Step.COUNT and getattr(row, step)}
        if counted is not None and _reconciles(counted.found, row.booked):
            done.add(Step.COUNT)
        found[row.unit_id] = LotArrival(open_steps=open_steps(done), closed_at=row.closed_at)
    return found


def _reconciles(counted: ArrivalCount, booked: int) -> bool:
    count = Count(
        counted.invoiced, counted.sound, counted.slack, counted.torn, counted.wet, counted.mouldy,
        counted.missing, counted.over,
    )  # fmt: skip
    return reconcile(count, booked).reconciles


@cache
def unfinished() -> AnySelect:
    """Select the arrived lots with coffee left and a step of the work open, and the first such."""
    work = _steps().subquery()
    counted = _counted(work.c.unit_id, work.c.booked)
    done: dict[Step, ColumnElement[bool]] = {
        step: counted if step is Step.COUNT else work.c[step] for step in Step
    }
    here = select(col(Sack.lot_id)).join(Unit, col(Unit.id) == col(Sack.unit_id)).where(STANDING)
    lot = aliased(Unit)
    return (
        select(
            col(lot.id),
            col(lot.code),
            col(GreenLot.name),
            case(*((~done[step], literal(step.value)) for step in Step)).label("step"),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(lot.id))
        .join(work, work.c.unit_id == col(lot.id))
        .where(col(lot.id).in_(here), or_(*(~each for each in done.values())))
    )


def _counted(lot_id: ColumnElement[int], booked: ColumnElement[int]) -> ColumnElement[bool]:
    """Tell whether the newest count of a lot reconciles, as `reconcile` does."""
    other = aliased(ArrivalCount)
    last = (
        select(func.max(col(other.id)))
        .where(col(other.lot_id) == lot_id)
        .correlate_except(other)  # of each lot for itself, through the statement between
        .scalar_subquery()
    )
    there = [ArrivalCount.sound, ArrivalCount.slack, ArrivalCount.torn, ArrivalCount.wet]
    found = sum((col(each) for each in there), start=col(ArrivalCount.mouldy))
    accounted = found + col(ArrivalCount.missing) - col(ArrivalCount.over)
    return exists(
        select(col(ArrivalCount.id))
        .where(col(ArrivalCount.id) == last, found == booked)
        .where(accounted == col(ArrivalCount.invoiced))
        .correlate_except(ArrivalCount)
    )


@cache
def _steps() -> AnySelect:
    closing = aliased(Entry)
    booked = (
        select(func.count())
        .select_from(Sack)
        .where(col(Sack.lot_id) == col(GreenLot.unit_id))
        .where(col(Sack.condition) != Condition.SWEEPINGS)
        .correlate(GreenLot)
        .scalar_subquery()
    )
    return (
        select(
            col(GreenLot.unit_id),
            booked.label("booked"),
            _has(ArrivalWeight).label(Step.WEIGHT),
            _has(ArrivalInspection).label(Step.INSPECTION),
            (_sampled_g() < 0).label(Step.SAMPLE),
            _measured().label(Step.MOISTURE),
            col(closing.recorded_at).label("closed_at"),
        )
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(ReceiptClose, col(ReceiptClose.delivery_id) == col(Delivery.id))
        .outerjoin(closing, col(closing.id) == col(ReceiptClose.entry_id))
        .where(col(Entry.kind) == DELIVERY)
    )


def _has(table: type[ArrivalWeight] | type[ArrivalInspection]) -> ColumnElement[bool]:
    return exists(
        select(col(table.id)).where(col(table.lot_id) == col(GreenLot.unit_id)).correlate(GreenLot)
    )


def _sampled_g() -> ColumnElement[int]:
    """Add up what samples took out of a lot's sacks: a sample that was voided gave it back."""
    return func.coalesce(
        select(func.sum(col(Adjustment.grams)))
        .join(Sack, col(Sack.unit_id) == col(Adjustment.unit_id))
        .where(col(Sack.lot_id) == col(GreenLot.unit_id))
        .where(col(Adjustment.reason) == Reason.SAMPLE)
        .correlate(GreenLot)
        .scalar_subquery(),
        0,
    )


def _measured() -> ColumnElement[bool]:
    """Tell whether a lot or one of its sacks has a moisture reading."""
    moisture = standing(col(Reading.id)).where(col(Reading.kind) == ReadingKind.MOISTURE)
    of_sack = moisture.join(Sack, col(Sack.unit_id) == col(Reading.unit_id))
    return or_(
        exists(moisture.where(col(Reading.unit_id) == col(GreenLot.unit_id)).correlate(GreenLot)),
        exists(of_sack.where(col(Sack.lot_id) == col(GreenLot.unit_id)).correlate(GreenLot)),
    )


def newest_sample(session: Session, lot_id: int) -> Any:  # noqa: ANN401 - a row
    """Find the last draw of a sample out of a lot's sacks: grams, when, by whom."""
    return session.execute(
        select(
            func.sum(col(Adjustment.grams)).label("grams"), col(Entry.happened_at), col(Entry.who)
        )
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .join(Sack, col(Sack.unit_id) == col(Adjustment.unit_id))
        .where(col(Sack.lot_id) == lot_id, col(Adjustment.reason) == Reason.SAMPLE)
        .where(col(Adjustment.grams) < 0)
        .group_by(col(Entry.id), col(Entry.happened_at), col(Entry.who))
        .order_by(col(Entry.id).desc())
        .limit(1)
    ).first()


def newest_moisture(session: Session, lot_id: int) -> Any:  # noqa: ANN401 - a row
    """Find the last moisture reading of a lot: thousandths, when, by whom.

    Its own goes before those of single sacks, which stand for it where it was not read itself.
    """
    return session.execute(
        standing(col(Reading.value_milli), col(Entry.happened_at), col(Entry.who))
        .outerjoin(Sack, col(Sack.unit_id) == col(Reading.unit_id))
        .where(col(Reading.kind) == ReadingKind.MOISTURE)
        .where(or_(col(Reading.unit_id) == lot_id, col(Sack.lot_id) == lot_id))
        .order_by(
            case((col(Reading.unit_id) == lot_id, 0), else_=1),
            col(Entry.happened_at).desc(),
            col(Reading.id).desc(),
        )
        .limit(1)
    ).first()
