"""What a gram of any unit cost: green as it is priced, carried along the flows.

The cost of a unit is that of everything that went into it, and is spread over what it weighs; so
roast loss and what blending and packing lose stay in the product, and every later gain or loss of
a unit is worth what a gram of it cost.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Final, NamedTuple

from sqlalchemy import ColumnElement, func, select, true
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Condition, GreenLot, Sack
from app.ledger.happened import not_taken_back
from app.ledger.tables import Adjustment, Entry, Flow, Unit, UnitKind
from app.ledger.walk import reach
from app.settings import Settings
from app.shared.db import among
from app.standards.costing import CostMethod, Money, Pool, added, times
from app.value.landed import Landed, landed_costs

GREEN: Final = frozenset({UnitKind.LOT, UnitKind.SACK})


class Made(NamedTuple):
    """A unit as it was born."""

    id: int
    code: str
    kind: UnitKind
    made_g: int


@dataclass
class GreenUse:
    """Green that was drawn, priced in one of the three ways."""

    into: dict[int, Money] = field(default_factory=dict)
    """What was drawn into each unit cost; empty where every lot is priced by itself."""
    adjusted: dict[int, Money] = field(default_factory=dict)
    """What each adjustment of a sack was worth; found coffee is above zero."""
    pools: dict[str, Pool] = field(default_factory=dict)


class Costs(NamedTuple):
    """What a gram of each unit cost, and what is behind it."""

    per_gram: Mapping[int, Money]
    units: Mapping[int, Made]
    flows: Mapping[int, Sequence[tuple[int, int]]]
    """Into each unit: the older unit and the grams."""
    swept: Collection[int]
    """Sacks of sweepings, which are expensed on arrival and worth nothing."""


def costs_of(
    session: Session, unit_ids: Collection[int], settings: Settings, used: GreenUse
) -> Costs:
    """Work out what a gram of each of these units cost, and of all that they were made of."""
    ids = reach(session, unit_ids, forward=False)
    units, flows = _units(session, ids), _flows(session, ids)
    lots = [unit.id for unit in units.values() if unit.kind == UnitKind.LOT]
    landed = landed_costs(session, lots)
    swept = _sweepings(session, units)
    specific = settings.cost_method is CostMethod.SPECIFIC
    per_gram: dict[int, Money] = {}
    for unit in units.values():
        if unit.kind == UnitKind.LOT:
            per_gram[unit.id] = landed[unit.id].per_gram
        elif unit.id in swept:
            per_gram[unit.id] = {}
        else:
            carried = specific or unit.kind in GREEN
            own = [
                times(per_gram[source], grams)
                for source, grams in flows[unit.id]
                if carried or units[source].kind not in GREEN
            ]
            whole = added(*own, used.into.get(unit.id, {}))
            per_gram[unit.id] = times(whole, Fraction(1, unit.made_g))
    return Costs(per_gram, units, flows, swept)


def _units(session: Session, ids: Collection[int]) -> Mapping[int, Made]:
    rows = session.execute(
        select(col(Unit.id), col(Unit.code), col(Unit.kind), col(Unit.made_g))
        .where(among(session, col(Unit.id), ids))
        .order_by(col(Unit.id))
    )
    return {row.id: Made(row.id, row.code, UnitKind(row.kind), row.made_g) for row in rows}


def _flows(session: Session, ids: Collection[int]) -> Mapping[int, Sequence[tuple[int, int]]]:
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for source, target, grams in session.execute(
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams))
        .where(among(session, col(Flow.target_id), ids))
        .order_by(col(Flow.target_id), col(Flow.source_id))
    ):
        found[target].append((source, grams))
    return found


def _sweepings(session: Session, ids: Iterable[int]) -> set[int]:
    """Name sacks that hold what was swept up."""
    return set(session.scalars(
        select(col(Sack.unit_id))
        .where(among(session, col(Sack.unit_id), list(ids)))
        .where(col(Sack.condition) == Condition.SWEEPINGS)
    ))  # fmt: skip


class _Lot(NamedTuple):
    entry: int
    pool: str
    landed: Landed


class _Move(NamedTuple):
    """Green that came, went or was found, in the order of the book."""

    entry: int
    lot: int
    grams: int
    """Above zero for what came in or was found."""
    target: int | None = None
    adjustment: int | None = None


def green_use(session: Session, settings: Settings, until: datetime | None) -> GreenUse:
    """Price all green that was drawn before a moment; nothing to do where lots price themselves.

    Whatever came in and went out counts in the order in which it was booked, as a running account
    has it: so nothing is drawn that is not there, whatever times were typed in.
    """
    used = GreenUse()
    if settings.cost_method is CostMethod.SPECIFIC:
        return used
    lots = _lots(session, settings, until)
    moves = [_Move(lot.entry, lot_id, lot.landed.net_g - lot.landed.swept_g)
             for lot_id, lot in lots.items()]  # fmt: skip
    moves += _draws(session, until)
    moves += _adjustments(session, until)
    average = settings.cost_method is CostMethod.MOVING_AVERAGE
    into: dict[int, list[Money]] = defaultdict(list)
    for move in sorted(moves, key=lambda each: (each.entry, each.target or 0, each.lot)):
        lot = lots[move.lot]
        pool = used.pools.setdefault(lot.pool, Pool(average=average))
        own = lot.landed.per_gram
        if move.target is not None:
            into[move.target].append(pool.draw(move.grams, own))
        elif move.adjustment is None:
            pool.receive(move.grams, times(own, move.grams))
        elif move.grams < 0:
            used.adjusted[move.adjustment] = times(pool.draw(-move.grams, own), -1)
        else:
            used.adjusted[move.adjustment] = pool.find(move.grams, own)
    used.into = {target: added(*each) for target, each in into.items()}
    return used


def _before(until: datetime | None) -> ColumnElement[bool]:
    return true() if until is None else col(Entry.happened_at) < until


def _lots(session: Session, settings: Settings, until: datetime | None) -> Mapping[int, _Lot]:
    rows = session.execute(
        select(col(Unit.id), col(Unit.born_entry_id), col(GreenLot.origin), col(GreenLot.name))
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.voided_entry_id).is_(None), _before(until))
    ).all()
    landed = landed_costs(session, [row.id for row in rows])
    return {
        row.id: _Lot(
            row.born_entry_id,
            row.origin if settings.cost_pool == "origin" else f"{row.origin} {row.name}",
            landed[row.id],
        )
        for row in rows
    }


def _draws(session: Session, until: datetime | None) -> Iterator[_Move]:
    """Add up by lot what was drawn into each unit; sweepings are expensed already."""
    rows = session.execute(
        select(
            col(Unit.born_entry_id), col(Sack.lot_id), func.sum(col(Flow.grams)), col(Unit.id)
        )
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .join(Sack, col(Sack.unit_id) == col(Flow.source_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.voided_entry_id).is_(None), col(Unit.kind) != UnitKind.SACK)
        .where(col(Sack.condition) != Condition.SWEEPINGS, _before(until))
        .group_by(col(Unit.born_entry_id), col(Sack.lot_id), col(Unit.id))
    )  # fmt: skip
    for entry, lot, grams, target in rows:
        yield _Move(entry, lot, int(grams), target)


def _adjustments(session: Session, until: datetime | None) -> Iterator[_Move]:
    sack = aliased(Unit)
    rows = session.execute(
        select(
            col(Adjustment.entry_id), col(Sack.lot_id), col(Adjustment.grams), col(Adjustment.id)
        )
        .join(Sack, col(Sack.unit_id) == col(Adjustment.unit_id))
        .join(sack, col(sack.id) == col(Sack.unit_id))
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .where(not_taken_back(), col(sack.voided_entry_id).is_(None))
        .where(col(Sack.condition) != Condition.SWEEPINGS, _before(until))
    )  # fmt: skip
    for entry, lot, grams, number in rows:
        yield _Move(entry, lot, grams, adjustment=number)
