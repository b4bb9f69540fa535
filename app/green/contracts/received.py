"""Adding up what came of contracts."""

from collections.abc import Collection, Mapping

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot
from app.ledger.tables import Unit


def received_of(session: Session, contract_ids: Collection[int]) -> Mapping[int, int]:
    """Add up what came for each contract, but for voided lots."""
    rows = session.execute(
        select(col(Delivery.contract_id), func.sum(col(Unit.made_g)))
        .join(GreenLot, col(GreenLot.delivery_id) == col(Delivery.id))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .where(col(Delivery.contract_id).in_(contract_ids), col(Unit.voided_entry_id).is_(None))
        .group_by(col(Delivery.contract_id))
    )
    return {contract_id: int(grams) for contract_id, grams in rows if contract_id is not None}


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
