"""Reading a trace as coffee that flows from box to box."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import func, select, union_all
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Sack, Supplier
from app.ledger.queries import unit_by_code
from app.ledger.tables import Adjustment, Reason, Unit, UnitKind
from app.ledger.then import AsOf, as_of, standing
from app.packing.tables import Blend, Pack, Product
from app.roasting.tables import Roast
from app.sending.tables import Customer, Dispatch
from app.shared.db import AnySelect, among
from app.tracing.flow.movements import Ahead, Trace, moved_ahead, moved_behind
from app.tracing.flow.rules import MOST_BOXES, Flow, Gathered, flow_of, gathered
from app.tracing.queries import starts_of
from app.tracing.reached import rows_of
from app.tracing.rules import Sent, backward_content, forward_shares
from app.tracing.schemas import Direction, TraceIn
from app.tracing.spread import Inflows, Spread, inflows
from app.tracing.walk import (
    Followed,
    Walk,
    by_way_of_dispatches,
    came_back_from,
    follow,
    sent_lines,
)


class Traced(NamedTuple):
    """The flow of a trace, and which one it is."""

    code: str
    kind: str
    direction: Direction
    when: AsOf
    flow: Flow


def flow_of_unit(
    session: Session, code: str, direction: Direction, moment: datetime | None = None
) -> Traced:
    """Trace one unit by its code, or what was booked in its place."""
    when = as_of(session, moment)
    unit = standing(session, unit_by_code(session, code), when)
    flow = flow_of_units(session, [unit.id], direction, when.upto)
    return Traced(unit.code, unit.kind, direction, when, flow)


class Boxed(NamedTuple):
    """A flow, and which units share each of its boxes."""

    flow: Flow
    gathered: Gathered


def flow_of_set(session: Session, asked: TraceIn) -> Boxed:
    """Trace what a set of units, a place or a packing material starts at."""
    when = as_of(session, asked.as_of)
    starts = {start.unit.id for start in starts_of(session, asked, when)}
    return boxed(session, sorted(starts), asked.direction, when.upto)


def flow_of_units(
    session: Session, unit_ids: Collection[int], direction: Direction, upto: int | None
) -> Flow:
    """Trace units together, as the book is now or once it had an entry."""
    return boxed(session, unit_ids, direction, upto).flow


def boxed(
    session: Session, unit_ids: Collection[int], direction: Direction, upto: int | None
) -> Boxed:
    """Trace units together, and keep which of them share a box."""
    followed = follow(session, unit_ids, direction, upto)
    ahead = direction is Direction.FORWARD
    lines = sent_lines(session, followed.walked) if ahead else []
    return boxes_of(session, followed, lines)


def boxes_of(session: Session, followed: Followed, lines: Sequence[Sent]) -> Boxed:
    """Put what was followed into boxes; the lines of dispatches count ahead alone."""
    walked = followed.walked
    ahead = walked.direction is Direction.FORWARD
    if ahead:
        into: Inflows = inflows(walked.flows)
        parts = forward_shares(list(walked.units), into, walked.start)
        trace = Trace(walked.units, into, walked.start, _parts(parts))
        movements = moved_ahead(_ahead(session, walked, trace, lines))
    else:
        into = by_way_of_dispatches(walked, followed.back)
        order = sorted(walked.units, reverse=True)
        parts = backward_content(order, into, walked.start, walked.units)
        movements = moved_behind(Trace(walked.units, into, walked.start, _parts(parts)))
    units = {unit.id: (unit.code, unit.kind) for unit in walked.units.values()}
    weights = {unit.id: parts.bounds[unit.id][0] * unit.made_g for unit in walked.units.values()}
    shared = _shared(session, walked)
    together = gathered(units, shared, weights, walked.start)
    return Boxed(flow_of(movements, together, suspects=ahead), together)


def _parts(spread: Spread) -> Mapping[int, int]:
    return {unit: low for unit, (low, _) in spread.bounds.items()}


def _ahead(session: Session, walked: Walk, trace: Trace, lines: Sequence[Sent]) -> Ahead:
    dispatches = [unit.id for unit in walked.units.values() if unit.kind == UnitKind.DISPATCH]
    back = came_back_from(session, dispatches, walked.upto)
    return Ahead(
        trace,
        lines,
        {bags.unit: bags.dispatch for bags in back},
        _adjusted(session, walked),
    )


def _adjusted(session: Session, walked: Walk) -> Mapping[int, Mapping[str, int]]:
    """Add up adjustments by unit and reason, but for bags that came back."""
    statement = (
        select(col(Adjustment.unit_id), col(Adjustment.reason), func.sum(col(Adjustment.grams)))
        .where(among(session, col(Adjustment.unit_id), list(walked.units)))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .group_by(col(Adjustment.unit_id), col(Adjustment.reason))
        .order_by(col(Adjustment.unit_id), col(Adjustment.reason))
    )
    if walked.upto is not None:
        statement = statement.where(col(Adjustment.entry_id) <= walked.upto)
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for unit, reason, grams in rows_of(session, statement):
        found[unit][reason] = int(grams)
    return found


def _shared(session: Session, walked: Walk) -> Mapping[int, str]:
    """Name what many units of a kind have in common: supplier, lot, style, recipe, product.

    Dispatches always have their customer in common.
    """
    by_kind: dict[str, list[int]] = defaultdict(list)
    for unit in walked.units.values():
        by_kind[unit.kind].append(unit.id)
    statements = [
        statement.where(among(session, next(iter(statement.selected_columns)), some))
        for kind, statement in _COMMON.items()
        if (some := by_kind[kind]) and (len(some) > MOST_BOXES or kind is UnitKind.DISPATCH)
    ]
    if not statements:
        return {}
    rows = session.connection().execute(union_all(*statements))
    return {unit: name or "" for unit, name in rows}


_COMMON: Mapping[UnitKind, AnySelect] = {
    UnitKind.LOT: select(col(GreenLot.unit_id), col(Supplier.name))
    .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
    .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id)),
    UnitKind.SACK: select(col(Sack.unit_id), col(Unit.code)).join(
        Unit, col(Unit.id) == col(Sack.lot_id)
    ),
    UnitKind.ROAST: select(col(Roast.unit_id), col(Roast.style)),
    UnitKind.BLEND: select(col(Blend.unit_id), col(Blend.recipe)),
    UnitKind.PACK: select(col(Pack.unit_id), col(Product.sku)).join(
        Product, col(Product.id) == col(Pack.product_id)
    ),
    UnitKind.DISPATCH: select(col(Dispatch.unit_id), col(Customer.name)).join(
        Customer, col(Customer.id) == col(Dispatch.customer_id)
    ),
}
