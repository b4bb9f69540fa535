"""Reading which bags of products are left, and what speaks against sending them."""

from collections.abc import Collection, Mapping
from datetime import datetime

from sqlalchemy import func, select, union_all
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import on_hold
from app.ledger.tables import HoldRelease, Unit
from app.packing.tables import Pack
from app.packing.weighing.showing import verdict_of
from app.packing.weighing.tables import CheckWeighing
from app.sending.bags import BagFacts, facts_of
from app.sending.cases.contents import cased_bags
from app.sending.free import kept_bags
from app.sending.picking.rules import Stock
from app.sending.tables import Returned
from app.shared.answers import read_json
from app.shared.db import among
from app.standards.average_quantity import Check, Finding


def stocks(session: Session, product_ids: Collection[int], now: datetime) -> list[Stock]:
    """Read all bags of products that are left, those that came back too."""
    rows = session.execute(union_all(*(
        select(col(Unit.id), col(Unit.left_g), on_hold(col(Unit.id)))
        .join(table, col(table.unit_id) == col(Unit.id))
        .where(among(session, col(table.product_id), product_ids))
        .where(col(Unit.left_g) > 0, col(Unit.voided_entry_id).is_(None))
        for table in (Pack, Returned)
    )))  # fmt: skip
    left = {unit_id: (left_g, bool(held)) for unit_id, left_g, held in rows}
    facts = facts_of(session, left)
    kept, cased = kept_bags(session, left, now), cased_bags(session, left)
    rejected = _weight_rejected(session, facts)
    return [
        Stock(
            id=unit_id, code=facts[unit_id].code, product_id=facts[unit_id].product_id,
            sku=facts[unit_id].sku, nominal_g=facts[unit_id].nominal_g,
            lot_mark=facts[unit_id].lot_mark, best_before=facts[unit_id].best_before,
            packed_at=facts[unit_id].packed_at, left=left_g // facts[unit_id].nominal_g,
            kept=kept[unit_id], in_cases=cased[unit_id], held=held,
            weight_rejected=facts[unit_id].pack_id in rejected,
        )
        for unit_id, (left_g, held) in left.items()
    ]  # fmt: skip


def _weight_rejected(session: Session, facts: Mapping[int, BagFacts]) -> set[int]:
    """Name packs whose newest check of weight was rejected, but for what quality released since."""
    nominal_g = {each.pack_id: each.nominal_g for each in facts.values()}
    newest = (
        select(func.max(col(CheckWeighing.id)))
        .outerjoin(ActVoid, col(ActVoid.check_weighing_id) == col(CheckWeighing.id))
        .where(
            among(session, col(CheckWeighing.pack_id), nominal_g), col(ActVoid.entry_id).is_(None)
        )
        .group_by(col(CheckWeighing.pack_id))
    )
    rows = session.execute(
        select(CheckWeighing)
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(CheckWeighing.hold_id))
        .where(col(CheckWeighing.id).in_(newest), col(HoldRelease.hold_id).is_(None))
    ).scalars()
    return {row.pack_id for row in rows if _is_rejected(row, nominal_g[row.pack_id])}


def _is_rejected(row: CheckWeighing, nominal_g: int) -> bool:
    net_mg = [int(each) for each in read_json(row.net_mg)]
    verdict = verdict_of(Check(row.plan), row.batch_bags, nominal_g, net_mg)
    return verdict.finding is Finding.REJECTED
