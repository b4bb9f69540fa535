"""What is asked for: the entries that are told of, and of which units."""

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Final, NamedTuple

from sqlalchemy import Select, case, or_, select
from sqlmodel import Session, col

from app.green.counting.tables import StockCountLine
from app.green.readings.tables import Reading
from app.green.tables import Sack
from app.ledger.corrections.tables import Correction
from app.ledger.queries import unit_by_code
from app.ledger.tables import Adjustment, Entry, Hold, HoldRelease, HoldUnit, Unit
from app.ledger.walk import most_reached, reach, refuse_beyond
from app.packing.materials.tables import (
    MaterialChange,
    MaterialHold,
    MaterialLot,
    MaterialRelease,
    MaterialUse,
)
from app.places.tables import Move
from app.quality.tables import Cupping
from app.recall.cases import case_at
from app.recall.frozen import numbered
from app.recall.scope import CONTACT
from app.sending.cases.tables import CaseChange, CaseLine
from app.sending.tables import Returned
from app.shared.db import among
from app.shared.problems import Refused
from app.shared.times import text
from app.tracing.schemas import Direction

MOST_ENTRIES: Final = 50_000
"""Of one document: more takes longer than anybody waits."""


class Scope(NamedTuple):
    """What is told of."""

    entries: Collection[int]
    units: frozenset[int] | None
    """Only what is about one of these; None for everything in those entries."""


def of_trace(session: Session, code: str, direction: Direction) -> Scope:
    """Ask for a unit with all that was made of it, or all that it was made of."""
    start = _replacing(session, [unit_by_code(session, code).id])
    reached = reach(session, start, forward=direction is Direction.FORWARD)
    if direction is Direction.FORWARD:
        back = session.scalars(
            select(col(Returned.unit_id)).where(among(session, col(Returned.dispatch_id), reached))
        ).all()
        reached = reach(session, {*reached, *back}, forward=True) if back else reached
    refuse_beyond(most_reached(session), reached)
    return of_units(session, reached)


def of_recall(session: Session, code: str, number: int) -> Scope:
    """Ask for what a frozen scope of a recall case names, without mere possible contact."""
    frozen = numbered(session, case_at(session, code).row.id, code, number)
    return of_units(session, [each.id for each in frozen.scope.units if each.place != CONTACT])


def of_period(session: Session, since: datetime, until: datetime) -> Scope:
    """Ask for everything that happened from one time until before another.

    Raises:
        Refused: `too-large` where that is more than one document holds.
    """
    entries = session.scalars(
        select(col(Entry.id))
        .where(col(Entry.happened_at) >= since, col(Entry.happened_at) < until)
        .order_by(col(Entry.id))
        .limit(MOST_ENTRIES + 1)
    ).all()
    if len(entries) > MOST_ENTRIES:
        raise Refused(
            "too-large",
            f"From {text(since)} to {text(until)} more than {MOST_ENTRIES} entries were booked: "
            "ask for a shorter time.",
        )
    return Scope(entries, None)


def of_units(session: Session, unit_ids: Collection[int]) -> Scope:
    """Ask for all that was ever done with some units, as voided ones too."""
    units = frozenset(_replacing(session, unit_ids))
    entries: set[int] = set()
    for statement in (*_of_coffee(session, units), *_of_boxes(session, units),
                      *_of_materials(session, units)):  # fmt: skip
        entries.update(session.scalars(statement))
    return Scope(entries, units)


Statements = Iterable[Select[int]]


def _of_coffee(session: Session, units: Collection[int]) -> Statements:
    """Select the entries in which something was done with units, or with lots that they are of."""
    lots = session.scalars(
        select(col(Sack.lot_id)).where(among(session, col(Sack.unit_id), units))
    ).all()
    either = {*units, *lots}
    yield select(col(Unit.born_entry_id)).where(among(session, col(Unit.id), units))
    for table, about in (
        (Adjustment, col(Adjustment.unit_id)), (Move, col(Move.unit_id)),
        (Reading, col(Reading.unit_id)), (Cupping, col(Cupping.unit_id)),
        (StockCountLine, col(StockCountLine.sack_id)),
    ):  # fmt: skip
        ids = either if table is Reading else units
        yield select(col(table.entry_id)).where(among(session, about, ids))
    held = among(session, col(HoldUnit.unit_id), either)
    of_unit = col(HoldUnit.hold_id) == col(Hold.id)
    yield select(col(Hold.entry_id)).join(HoldUnit, of_unit).where(held)
    yield (
        select(col(HoldRelease.entry_id))
        .join(HoldUnit, col(HoldUnit.hold_id) == col(HoldRelease.hold_id))
        .where(held)
    )


def _of_boxes(session: Session, units: Collection[int]) -> Statements:
    """Select the entries in which bags were cased, and their cases put onto pallets."""
    changes = select(col(CaseChange.entry_id)).join(
        CaseLine, col(CaseLine.change_id) == col(CaseChange.id)
    )
    mine = among(session, col(CaseLine.pack_id), units)
    yield changes.where(mine)
    boxes = (
        select(col(CaseChange.case_id))
        .join(CaseLine, col(CaseLine.change_id) == col(CaseChange.id))
        .where(mine)
    )
    yield changes.where(col(CaseLine.inner_id).in_(boxes))


def _of_materials(session: Session, units: Collection[int]) -> Statements:
    """Select the entries in which something was done with material that is in bags."""
    lots = (
        select(col(MaterialUse.lot_id))
        .where(among(session, col(MaterialUse.pack_id), units))
    )  # fmt: skip
    yield select(col(MaterialLot.entry_id)).where(col(MaterialLot.id).in_(lots))
    yield select(col(MaterialChange.entry_id)).where(col(MaterialChange.lot_id).in_(lots))
    held = select(col(MaterialHold.id)).where(col(MaterialHold.lot_id).in_(lots))
    yield select(col(MaterialHold.entry_id)).where(col(MaterialHold.lot_id).in_(lots))
    yield select(col(MaterialRelease.entry_id)).where(col(MaterialRelease.hold_id).in_(held))


def _replacing(session: Session, unit_ids: Collection[int]) -> list[int]:
    """Add what units were booked in the place of, and what was booked in theirs."""
    chain = (
        select(col(Unit.id).label("id"))
        .where(among(session, col(Unit.id), unit_ids))
        .cte("chain", recursive=True)
    )
    old, new = col(Correction.old_unit_id), col(Correction.new_unit_id)
    other = case((old == chain.c.id, new), else_=old)
    chain = chain.union(select(other).join(chain, or_(old == chain.c.id, new == chain.c.id)))
    return list(session.scalars(select(chain.c.id)))
