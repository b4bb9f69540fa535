"""The walk over the flows, and what was sent of the units it reached."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Final, NamedTuple

from sqlalchemy import and_, func, select
from sqlmodel import Session, col

from app.ledger.tables import Flow, Unit, UnitKind
from app.ledger.then import alive
from app.sending.sales.tables import Sale
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import Among, AnySelect, OverIds
from app.tracing.reached import UPTO, Reached, reached
from app.tracing.rules import Sent
from app.tracing.schemas import Direction
from app.tracing.spread import Inflows, Takings, inflows


@dataclass(frozen=True)
class Walk:
    """Everything a trace is computed from."""

    start: Collection[int]
    """What was asked; ahead also what came back of a dispatch that was asked."""
    direction: Direction
    units: Mapping[int, Reached]
    """In id order."""
    flows: Sequence[tuple[int, int, int]]
    """Every flow into a reached unit: source, target, grams, by target and source.

    Forward, a source may be outside of what was reached.
    """
    upto: int | None = None
    """The last entry that counts, where the book is asked what it said then."""


def walk(
    session: Session, asked: Collection[int], direction: Direction, upto: int | None = None
) -> Walk:
    """Follow the flows from units as far as they go, or as far as they went then."""
    units = {unit.id: unit for unit in reached(session, asked, direction, upto)}
    start = set(asked)
    if direction is Direction.FORWARD:
        start |= {unit.id for unit in units.values() if unit.came_from in start}
    return Walk(start, direction, units, _flows.rows(session, units), upto)


@OverIds
def _flows(among: Among) -> AnySelect:
    return (
        select(col(Flow.source_id), col(Flow.target_id), col(Flow.grams))
        .where(among(col(Flow.target_id)))
        .order_by(col(Flow.target_id), col(Flow.source_id))
    )


def by_way_of_dispatches(walked: Walk) -> Inflows:
    """Gather the flows, letting what came back from an asked dispatch come out of it.

    So bags that were in an asked dispatch and are asked again as a return count once.
    """
    into = inflows(walked.flows)
    for unit in walked.units.values():
        if unit.came_from is not None and unit.came_from in walked.start and unit.id in into:
            whole_g = into[unit.id].whole
            into[unit.id] = Takings(whole_g, [(unit.came_from, whole_g)])
    return into


class SentTo(NamedTuple):
    """Who a dispatch went to; of a sale over a counter, on which day."""

    customer: int
    name: str
    contact: str | None
    kind: str
    sold_on: date | None


class SentLines(NamedTuple):
    """What was sent in the dispatches that were reached."""

    traced: Sequence[Sent]
    """Lines that hold reached bags; of a dispatch that is itself a start, all."""
    touched: Sequence[Sent]
    """Other lines, with bags that may only have been touched."""
    to: Mapping[int, SentTo]
    """By dispatch."""


_NOTHING: Final[Mapping[int, Reached]] = MappingProxyType({})


def sent_lines(
    session: Session, walked: Walk, touched: Mapping[int, Reached] = _NOTHING
) -> SentLines:
    """Read what was sent of reached and of touched bags, to whom, and what came back of it."""
    dispatches = {
        unit.id
        for units in (walked.units, touched)
        for unit in units.values()
        if unit.kind == UnitKind.DISPATCH
    }
    found = SentLines(traced := [], apart := [], to := {})
    for dispatch, pack, bags, grams, back_bags, back_g, *whom in _lines.rows(
        session, dispatches, walked.upto is not None, upto=walked.upto
    ):
        line = Sent(dispatch, pack, bags, grams, int(back_bags), int(back_g))
        to[dispatch] = SentTo(*whom)
        if pack in walked.units or dispatch in walked.start:
            traced.append(line)
        elif pack in touched:
            apart.append(line)
    return found


@OverIds
def _lines(among: Among, then: bool) -> AnySelect:
    back = (
        select(
            col(Returned.dispatch_id),
            col(Returned.pack_id),
            func.sum(col(Returned.bags)).label("bags"),
            func.sum(col(Unit.made_g)).label("grams"),
        )
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(col(Returned.dispatch_id)), alive(Unit, UPTO if then else None))
        .group_by(col(Returned.dispatch_id), col(Returned.pack_id))
        .subquery()
    )
    line = DispatchLine
    same = and_(back.c.dispatch_id == col(line.dispatch_id), back.c.pack_id == col(line.pack_id))
    return (
        select(
            col(line.dispatch_id),
            col(line.pack_id),
            col(line.bags),
            col(line.grams),
            func.coalesce(back.c.bags, 0),
            func.coalesce(back.c.grams, 0),
            col(Customer.id),
            col(Customer.name),
            col(Customer.contact),
            col(Customer.kind),
            col(Sale.sold_on),
        )
        .join(Dispatch, col(Dispatch.unit_id) == col(line.dispatch_id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .outerjoin(Sale, col(Sale.dispatch_id) == col(line.dispatch_id))
        .outerjoin(back, same)
        .where(among(col(line.dispatch_id)))
        .order_by(col(line.dispatch_id), col(line.pack_id))
    )
