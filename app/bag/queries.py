"""Finding the packing run whose bags carry a mark, and what may be told of it."""

from collections.abc import Sequence

from sqlalchemy import exists, select
from sqlmodel import Session, col

from app.bag.rules import Behind, Story, marks_of, story
from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.corrections.queries import newest
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit, UnitKind
from app.ledger.walk import reached_from
from app.packing.tables import Pack, Product
from app.recall.queries import is_in_open_case
from app.scans.finding import by_elements
from app.sending.tables import DispatchLine
from app.shared.days import day_of
from app.standards.gs1.elements import Element


def bag(session: Session, mark: str, *, suppliers: bool) -> Story | None:
    """Tell of the bags that carry a mark; None where there are none, or none left the house yet.

    Of a run that was booked anew in the place of a mistaken one, the new booking tells.
    """
    unit = _marked(session, mark)
    if unit is None or not _was_sent(session, unit.id):
        return None
    product = session.execute(
        select(col(Product.name))
        .join(Pack, col(Pack.product_id) == col(Product.id))
        .where(col(Pack.unit_id) == unit.id)
    ).scalar_one()
    questioned = is_in_open_case(session, unit.id)
    return story(
        product, _behind(session, unit.id), questioned=questioned, suppliers=suppliers
    )  # fmt: skip


def _marked(session: Session, mark: str) -> Unit | None:
    found = session.scalars(
        select(Unit)
        .join(Pack, col(Pack.unit_id) == col(Unit.id))
        .where(col(Pack.lot_mark).in_(marks_of(mark)))
        .order_by(col(Unit.id))
    ).first()
    if found is None or found.voided_entry_id is None:
        return found
    instead = newest(session, found.id)
    return instead if instead is not None and instead.voided_entry_id is None else None


def _was_sent(session: Session, pack_id: int) -> bool:
    """Tell whether bags of a run are in anybody's hands: what stands here is nobody's business."""
    dispatched = exists(
        select(col(DispatchLine.pack_id))
        .join(Unit, col(Unit.id) == col(DispatchLine.dispatch_id))
        .where(col(DispatchLine.pack_id) == pack_id, col(Unit.voided_entry_id).is_(None))
    )
    return bool(session.scalar(select(dispatched)))


def _behind(session: Session, pack_id: int) -> list[Behind]:
    reached = reached_from(col(Unit.id) == pack_id, forward=False)
    rows = session.execute(
        select(
            col(Unit.kind), col(Entry.happened_at), col(GreenLot.origin), col(Supplier.name),
            on_hold(col(Unit.id)),
        )
        .join(reached, reached.c.id == col(Unit.id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .outerjoin(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .where(col(Unit.voided_entry_id).is_(None))
    )  # fmt: skip
    return [
        Behind(kind, day_of(at), origin, supplier, bool(held))
        for kind, at, origin, supplier, held in rows
    ]


def mark_of(session: Session, elements: Sequence[Element]) -> str | None:
    """Find the mark on the bags that a link names by trade item and lot."""
    packs = [
        each for each in by_elements(session, elements)[0] if each.kind == UnitKind.PACK
    ]  # fmt: skip
    if not packs:
        return None
    return session.scalar(
        select(col(Pack.lot_mark))
        .join(Unit, col(Unit.id) == col(Pack.unit_id))
        .where(col(Unit.code) == packs[-1].code)
    )
