"""The figures of a drill: both directions, with quantities."""

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot
from app.ledger.tables import UnitKind
from app.recall.cases import Case
from app.recall.drills.gaps import gaps_of
from app.recall.drills.schemas import BackwardFigures, ForwardFigures, Gap
from app.recall.frozen import Frozen, all_of, scope_now
from app.recall.reconciling import bags_of
from app.recall.rules import part
from app.recall.scope import CONTACT, Scope
from app.shared.db import among
from app.shared.shares import percent
from app.tracing.schemas import Direction


class Found(NamedTuple):
    """What a drill finds now."""

    forward: ForwardFigures | None
    backward: BackwardFigures | None
    gaps: list[Gap]


def find(session: Session, case: Case) -> Found:
    """Trace both directions as the book has them now, and look for gaps."""
    frozen = {each.scope.direction: each for each in all_of(session, case.row.id)}
    ahead, behind = (_now(session, frozen.get(direction)) for direction in Direction)
    forward = _forward(_traced(ahead, case), ahead) if ahead else None
    backward = _backward(session, _traced(behind, case), behind) if behind else None
    return Found(forward, backward, gaps_of(session, [each for each in (ahead, behind) if each]))


def _traced(scope: Scope, case: Case) -> str:
    """Name what a way began at; what a drill traces is kept in its frozen scope."""
    start = scope.starts[0]
    return start.material_lot or next(iter(start.units or ()), case.row.code)


def _now(session: Session, frozen: Frozen | None) -> Scope | None:
    return None if frozen is None else scope_now(session, frozen)


def _accounted(scope: Scope) -> Decimal | None:
    received = scope.balance["received"]
    figures = sum(grams for name, grams in scope.balance.items() if name != "received")
    return percent(figures, received) if received else None


def _forward(lot: str, scope: Scope) -> ForwardFigures:
    bags = bags_of(scope)
    reached = {line.customer_id: line.contact for line in scope.lines if line.place != CONTACT}
    known = sum(1 for contact in reached.values() if contact)
    return ForwardFigures(
        lot=lot,
        units=sum(1 for unit in scope.units if unit.place != CONTACT),
        made_bags=bags.made,
        in_house_bags=bags.in_house,
        sent_bags=bags.sent,
        returned_bags=bags.returned,
        customers=len(reached),
        with_contact=known,
        contact_pct=part(known, len(reached)),
        received_g=scope.balance["received"],
        accounted_pct=_accounted(scope),
    )


def _backward(session: Session, pack: str, scope: Scope) -> BackwardFigures:
    kinds = Counter(unit.kind for unit in scope.units)
    return BackwardFigures(
        pack=pack,
        units=len(scope.units),
        roasts=kinds[UnitKind.ROAST],
        sacks=kinds[UnitKind.SACK],
        lots=kinds[UnitKind.LOT],
        suppliers=_suppliers(session, [unit.id for unit in scope.units]),
        received_g=scope.balance["received"],
        accounted_pct=_accounted(scope),
    )


def _suppliers(session: Session, unit_ids: Sequence[int]) -> int:
    count: int | None = session.scalar(
        select(func.count(func.distinct(col(Delivery.supplier_id))))
        .join(GreenLot, col(GreenLot.delivery_id) == col(Delivery.id))
        .where(among(session, col(GreenLot.unit_id), unit_ids))
    )
    return count or 0
