"""Reading contracts: what is still to come of each, and how long earlier ones took."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import and_, func, select
from sqlmodel import Session, col

from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.tables import Entry, Unit
from app.settings import Settings
from app.shared.days import day_of, end_of
from app.standards.buying import accepted


class Contract(NamedTuple):
    """A purchase contract as planning sees it."""

    reference: str
    supplier: str
    origin: str | None
    """As the contract says, else as all that came of it is."""
    component: str | None
    ordered_on: date | None
    lead_time_days: int | None
    expected_on: date | None
    open_g: int
    """What is still to come; nothing once what came is within the tolerance, or it was ended."""
    first_on: date | None
    """The day on which the first of it came."""


def contracts(session: Session, as_of: date, settings: Settings) -> Sequence[Contract]:
    """Read contracts with what had come of each by the end of a day."""
    came = (
        select(
            col(Delivery.contract_id),
            func.sum(col(Unit.made_g)).label("grams"),
            func.min(col(Entry.happened_at)).label("first_at"),
            func.min(col(GreenLot.origin)).label("origin"),
            func.max(col(GreenLot.origin)).label("other"),
        )
        .join(GreenLot, col(GreenLot.delivery_id) == col(Delivery.id))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Delivery.contract_id).is_not(None))
        .where(and_(col(Unit.voided_entry_id).is_(None), col(Entry.happened_at) < end_of(as_of)))
        .group_by(col(Delivery.contract_id))
        .subquery()
    )
    rows = session.execute(
        select(PurchaseContract, col(Supplier.name), came.c.grams, came.c.first_at,
               came.c.origin, came.c.other)
        .join(Supplier, col(Supplier.id) == col(PurchaseContract.supplier_id))
        .outerjoin(came, came.c.contract_id == col(PurchaseContract.id))
        .order_by(col(PurchaseContract.id))
    )  # fmt: skip
    return [
        Contract(
            card.reference,
            supplier,
            card.origin or (origin if origin == other else None),
            card.component,
            card.ordered_on,
            card.lead_time_days,
            card.expected_on,
            _open_g(card, int(grams or 0), as_of, settings),
            _day(first_at),
        )
        for card, supplier, grams, first_at, origin, other in rows
    ]


def _open_g(card: PurchaseContract, came_g: int, as_of: date, settings: Settings) -> int:
    if card.ordered_on is not None and card.ordered_on > as_of:
        return 0
    if card.ended_on is not None and card.ended_on <= as_of:
        return 0
    tolerance_pct = (
        settings.contract_tolerance_pct if card.tolerance_pct is None else card.tolerance_pct
    )
    least_g = accepted(card.quantity_g, tolerance_pct).least_g
    return card.quantity_g - came_g if came_g < least_g else 0


def _day(moment: datetime | None) -> date | None:
    return None if moment is None else day_of(moment)
