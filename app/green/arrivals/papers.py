"""What the papers and the book say of arrived lots: the ground on which facts are judged."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import case, func, select
from sqlmodel import Session, col

from app.green.arrivals.holds import DELIVERY
from app.green.contracts.shelf import terms_of
from app.green.contracts.tables import PurchaseContract
from app.green.tables import Condition, Delivery, GreenLot, Sack
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.settings import Settings
from app.shared.db import among
from app.shared.problems import Refused
from app.standards.buying import Terms


@dataclass(frozen=True)
class Papers:
    """An arrived lot, and what was said of it before anybody looked."""

    lot_id: int
    lot: str
    delivery_id: int
    delivery: str
    discharged_on: date | None
    received_g: int
    shipped_g: int | None
    invoiced: int | None
    booked: int
    """Its sacks, without sweepings."""
    sweepings_g: int
    contract: PurchaseContract | None
    terms: Terms | None


def papers_of(session: Session, lot_ids: Collection[int], settings: Settings) -> dict[int, Papers]:
    """Gather the papers of lots that a delivery brought, in the order they came."""
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.made_g),
            GreenLot,
            Delivery,
            PurchaseContract,
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(PurchaseContract, col(PurchaseContract.id) == col(Delivery.contract_id))
        .where(among(session, col(Unit.id), lot_ids), col(Entry.kind) == DELIVERY)
        .order_by(col(Unit.id))
    ).all()
    sacks = _sacks(session, lot_ids)
    found = {}
    for row in rows:
        booked, sweepings_g = sacks[row.id]
        contract: PurchaseContract | None = row.PurchaseContract
        found[row.id] = Papers(
            lot_id=row.id, lot=row.code, delivery_id=row.Delivery.id, delivery=row.Delivery.code,
            discharged_on=row.Delivery.discharged_on, received_g=row.made_g,
            shipped_g=row.GreenLot.shipped_g, invoiced=row.GreenLot.invoiced_sacks,
            booked=booked, sweepings_g=sweepings_g, contract=contract,
            terms=terms_of(contract, settings) if contract else None,
        )  # fmt: skip
    return found


def _sacks(session: Session, lot_ids: Collection[int]) -> Mapping[int, tuple[int, int]]:
    """Count the sacks of each lot and weigh its sweepings, which are none of them."""
    swept = col(Sack.condition) == Condition.SWEEPINGS
    rows = session.execute(
        select(
            col(Sack.lot_id),
            func.sum(case((swept, 0), else_=1)),
            func.sum(case((swept, col(Unit.made_g)), else_=0)),
        )
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .where(among(session, col(Sack.lot_id), lot_ids))
        .group_by(col(Sack.lot_id))
    )
    return {lot_id: (int(sacks), int(grams)) for lot_id, sacks, grams in rows}


def papers_at(session: Session, code: str, settings: Settings) -> tuple[Unit, Papers]:
    """Find the arrived lot that a path names."""
    unit = unit_by_code(session, code, UnitKind.LOT)
    found = papers_of(session, [unit.id], settings).get(unit.id)
    if found is None:
        raise Refused(
            "not-found",
            f"Lot {unit.code} was taken over as opening stock: it has no arrival.",
            lot=unit.code,
        )
    return unit, found


def arriving(pen: Pen, code: str) -> tuple[Unit, Papers]:
    """Find the arrived lot that a fact is about; a voided one takes no more."""
    unit, papers = papers_at(pen.session, code, pen.settings)
    return live(unit), papers
