"""Reading a trace as coffee that flows from box to box."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import BigInteger, cast, func, null, select, union_all
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
from app.tracing.walk import Walk, by_way_of_dispatches, sent_lines, walk


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
    walked = walk(session, unit_ids, direction, upto)
    ahead = direction is Direction.FORWARD
    return boxes_of(session, walked, sent_lines(session, walked).traced if ahead else [])


def boxes_of(session: Session, walked: Walk, lines: Sequence[Sent]) -> Boxed:
    """Put what was followed into boxes; the lines of dispatches count ahead alone."""
    known = _known(session, walked)
    if walked.direction is Direction.FORWARD:
        into: Inflows = inflows(walked.flows)
        parts = forward_shares(list(walked.units), into, walked.start)
        trace = Trace(walked.units, into, walked.start, _parts(parts))
        movements = moved_ahead(Ahead(trace, lines, _came_back(walked), known.adjusted))
    else:
        into = by_way_of_dispatches(walked)
        order = sorted(walked.units, reverse=True)
        parts = backward_content(order, into, walked.start, walked.units)
        movements = moved_behind(Trace(walked.units, into, walked.start, _parts(parts)))
    units = {unit.id: (unit.code, unit.kind) for unit in walked.units.values()}
    weights = {unit.id: parts.bounds[unit.id][0] * unit.made_g for unit in walked.units.values()}
    together = gathered(units, known.shared, weights, walked.start)
    suspects = walked.direction is Direction.FORWARD
    return Boxed(flow_of(movements, together, suspects=suspects), together)


def _parts(spread: Spread) -> Mapping[int, int]:
    return {unit: low for unit, (low, _) in spread.bounds.items()}


def _came_back(walked: Walk) -> Mapping[int, int]:
    """Name the returns of reached dispatches, each with its dispatch."""
    return {
        unit.id: unit.came_from
        for unit in walked.units.values()
        if unit.came_from is not None and unit.came_from in walked.units
    }


class _Known(NamedTuple):
    """What the boxes want to know of units beside their mass."""

    shared: Mapping[int, str]
    """What many units of a kind have in common: supplier, lot, style, recipe, product."""
    adjusted: Mapping[int, Mapping[str, int]]
    """Grams by unit and reason, but for bags that came back."""


def _known(session: Session, walked: Walk) -> _Known:
    """Read it in one statement, a word a row: those of adjustments have grams."""
    by_kind: dict[str, list[int]] = defaultdict(list)
    for unit in walked.units.values():
        by_kind[unit.kind].append(unit.id)
    words = [
        statement.add_columns(cast(null(), BigInteger)).where(
            among(session, next(iter(statement.selected_columns)), some)
        )
        for kind, statement in _COMMON.items()
        # Dispatches always have their customer in common.
        if (some := by_kind[kind]) and (len(some) > MOST_BOXES or kind is UnitKind.DISPATCH)
    ]
    if walked.direction is Direction.FORWARD:
        words.append(_adjusted(session, walked))
    shared: dict[int, str] = {}
    adjusted: defaultdict[int, dict[str, int]] = defaultdict(dict)
    rows = rows_of(session, union_all(*words)) if words else ()
    for unit, word, grams in sorted(rows, key=lambda row: (row[0], row[1] or "")):
        if grams is None:
            shared[unit] = word or ""
        else:
            adjusted[unit][word] = int(grams)
    return _Known(shared, adjusted)


def _adjusted(session: Session, walked: Walk) -> AnySelect:
    statement = (
        select(col(Adjustment.unit_id), col(Adjustment.reason), func.sum(col(Adjustment.grams)))
        .where(among(session, col(Adjustment.unit_id), list(walked.units)))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .group_by(col(Adjustment.unit_id), col(Adjustment.reason))
    )
    if walked.upto is not None:
        statement = statement.where(col(Adjustment.entry_id) <= walked.upto)
    return statement


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
