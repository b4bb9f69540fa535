"""Holding a delivery against its contract."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.arrivals.newest import newest
from app.green.arrivals.papers import Papers, papers_of
from app.green.arrivals.schemas import DeliveryCheck, LotCheck
from app.green.arrivals.showing import claim_of, reconciled, show_clocks
from app.green.arrivals.tables import ArrivalCount, ArrivalWeight
from app.green.contracts.received import received_of
from app.green.contracts.shelf import terms_of
from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot
from app.ledger.tables import Unit
from app.settings import Settings
from app.standards.buying import accepted


def live_lots(session: Session, delivery_id: int) -> list[int]:
    """Name the lots of a delivery that were not voided."""
    rows = session.scalars(
        select(col(Unit.id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .where(col(GreenLot.delivery_id) == delivery_id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    return list(rows)


def delivery_check(
    session: Session, delivery: Delivery, settings: Settings
) -> DeliveryCheck | None:
    """Hold a delivery against its contract; None where it comes under none."""
    if delivery.contract_id is None or delivery.id is None:
        return None
    contract = session.get_one(PurchaseContract, delivery.contract_id)
    terms = terms_of(contract, settings)
    limits = accepted(contract.quantity_g, terms.tolerance_pct)
    received_g = received_of(session, delivery.contract_id)
    papers = list(papers_of(session, live_lots(session, delivery.id), settings).values())
    return DeliveryCheck(
        weight_basis=terms.basis,
        quantity_g=contract.quantity_g,
        accepted_from_g=limits.least_g,
        accepted_to_g=limits.most_g,
        contract_received_g=received_g,
        standing=limits.standing(received_g),
        clocks=show_clocks(papers[0] if papers else None),
        lots=_lots(session, papers),
    )


def _lots(session: Session, papers: list[Papers]) -> list[LotCheck]:
    ids = [each.lot_id for each in papers]
    counts, weights = newest(session, ArrivalCount, ids), newest(session, ArrivalWeight, ids)
    checks = []
    for each in papers:
        counted, weighed = counts.get(each.lot_id), weights.get(each.lot_id)
        claimable_g, words = claim_of(weighed.found, each) if weighed else (None, None)
        checks.append(LotCheck(
            lot=each.lot,
            reconciles=reconciled(counted.found, each).reconciles if counted else None,
            shipped_g=weighed.found.shipped_g if weighed else each.shipped_g,
            landed_g=weighed.found.landed_g if weighed else None,
            claimable_g=claimable_g,
            claim=words,
        ))  # fmt: skip
    return checks
