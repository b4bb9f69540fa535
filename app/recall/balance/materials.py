"""The balance of a lot of packing material, in pieces or metres, with the entries behind it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from sqlalchemy import Subquery, case, func, literal, select, union_all
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.tables import Entry, Unit
from app.packing.materials.queries import lot, standing_lot
from app.packing.materials.tables import MaterialChange, MaterialUse
from app.recall.balance.rules import closing
from app.recall.balance.schemas import BalanceOfMaterialLot, EntryQuantity, QuantityTerm
from app.shared.db import AnySelect
from app.shared.shares import percent
from app.tracing.queries import CAUTION

COUNTED = "count"


def balance_of_lot(session: Session, code: str, limit: int) -> BalanceOfMaterialLot:
    """Account for a lot: received is left, in bags, spoiled, written off, or missed by a count.

    What the counts found beside the book is the closing difference: nothing explains it.
    """
    found, shown = standing_lot(session, code), lot(session, code)
    behind = _behind(session, _movements(found.id))
    received = found.received_milli
    terms = [_term(name, lines, received, limit) for name, lines in sorted(behind.items())]
    explained = [each.quantity for each in terms if each.term != COUNTED]
    left_over = closing(received, [shown.left, *explained])
    came = EntryQuantity(entry=found.entry_id, quantity=received)
    return BalanceOfMaterialLot(
        lot=found.code,
        material=shown.material,
        unit=shown.unit,
        received=_term("received", [came], received, limit),
        left=shown.left,
        terms=terms,
        difference=left_over.difference_g,
        difference_pct=left_over.difference_pct,
        caution=CAUTION,
    )


def _term(
    name: str, lines: Sequence[EntryQuantity], received: int, limit: int
) -> QuantityTerm:  # fmt: skip
    quantity = sum(line.quantity for line in lines)
    return QuantityTerm(
        term=name, quantity=quantity, share_pct=percent(quantity, received) if received else None,
        entries_count=len(lines), entries=list(lines[:limit]),
    )  # fmt: skip


def _movements(lot_id: int) -> Subquery:
    """Gather what made a lot less: what packs that stand took, write-offs, and counts."""
    change = case((col(MaterialChange.counted_milli).is_(None), "written_off"), else_=COUNTED)
    changed: AnySelect = (
        select(
            change.label("term"), col(Entry.id).label("entry"),
            (-col(MaterialChange.change_milli)).label("quantity"),
        )
        .join(Entry, col(Entry.id) == col(MaterialChange.entry_id))
        .outerjoin(ActVoid, col(ActVoid.material_change_id) == col(MaterialChange.id))
        .where(col(MaterialChange.lot_id) == lot_id, col(ActVoid.entry_id).is_(None))
    )  # fmt: skip
    taken = [
        select(literal(term), col(Unit.born_entry_id), quantity)
        .join(MaterialUse, col(MaterialUse.pack_id) == col(Unit.id))
        .where(col(MaterialUse.lot_id) == lot_id, col(Unit.voided_entry_id).is_(None))
        for term, quantity in (
            ("used", col(MaterialUse.used_milli)),
            ("spoiled", col(MaterialUse.spoiled_milli)),
        )
    ]
    return union_all(changed, *taken).subquery("movements")


def _behind(session: Session, moved: Subquery) -> Mapping[str, list[EntryQuantity]]:
    rows = session.execute(
        select(moved.c.term, moved.c.entry, func.sum(moved.c.quantity))
        .where(moved.c.quantity != 0)
        .group_by(moved.c.term, moved.c.entry)
        .order_by(moved.c.term, moved.c.entry)
    )
    found: dict[str, list[EntryQuantity]] = defaultdict(list)
    for term, entry, quantity in rows:
        found[term].append(EntryQuantity(entry=entry, quantity=int(quantity)))
    return found
