"""Adding up what came of contracts."""

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot
from app.ledger.tables import Unit

RECEIVED_G = (
    select(func.coalesce(func.sum(col(Unit.made_g)), 0))
    .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
    .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
    .where(col(Delivery.contract_id) == col(PurchaseContract.id))
    .where(col(Unit.voided_entry_id).is_(None))
    .correlate(PurchaseContract)
    .scalar_subquery()
)
"""What came of a contract, but for voided lots, in a statement over `purchase_contract`."""


def received_of(session: Session, contract_id: int) -> int:
    """Add up what came of one contract."""
    of_it = select(RECEIVED_G).where(col(PurchaseContract.id) == contract_id)
    return int(session.scalar(of_it.select_from(PurchaseContract)) or 0)
