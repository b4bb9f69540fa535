"""Booking costs, and taking them back."""

from sqlalchemy import select
from sqlmodel import col

from app.green.tables import Delivery
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.shared.codes import fold
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused
from app.value.queries import cost_out
from app.value.schemas import CostIn, CostOut, CostVoided, CostVoidIn
from app.value.tables import CostLine, CostLineVoid


def add_cost(pen: Pen, asked: CostIn) -> CostOut:
    """Book an amount for a lot, or for the lots of a delivery."""
    lot_id = delivery_id = None
    if asked.lot is not None:
        lot_id = live(unit_by_code(pen.session, asked.lot, UnitKind.LOT)).id
    else:
        delivery_id = _delivery(pen, str(asked.delivery))
    at = pen.moment(asked.happened_at, "#/happened_at")
    number = next_number(pen.session, col(CostLine.id))
    # The journal is read by everybody one day: what was paid stands beside it, where nothing can
    # be changed either.
    of = asked.model_dump(mode="json", include={"lot", "delivery", "kind"}, exclude_none=True)
    entry_id = pen.note("cost", {"cost": number, **of}, at)
    pen.session.add(CostLine(
        id=number,
        lot_id=lot_id,
        delivery_id=delivery_id,
        entry_id=entry_id,
        **asked.model_dump(include={"kind", "amount", "price", "price_unit", "currency", "note"}),
    ))  # fmt: skip
    pen.session.flush()
    return cost_out(pen.session, number)


def _delivery(pen: Pen, code: str) -> int:
    found = pen.session.scalar(select(col(Delivery.id)).where(col(Delivery.code) == fold(code)))
    if found is None:
        raise FieldRefused("#/delivery", f"there is no delivery {code}")
    return found


def void_cost(pen: Pen, number: int, asked: CostVoidIn) -> CostVoided:
    """Take a cost back; it stays to be read and counts for nothing any more."""
    line = pen.session.get(CostLine, number)
    if line is None:
        raise Refused("not-found", f"There is no cost {number}.")
    before = pen.session.get(CostLineVoid, number)
    if before is not None:
        raise Refused("already-done", f"Cost {number} was voided before: {before.reason}.")
    said = {"cost": number, "reason": asked.reason}
    entry_id = pen.post(Posting("void", pen.now, said, reverses_id=line.entry_id))
    pen.session.add(CostLineVoid(cost_line_id=number, entry_id=entry_id, reason=asked.reason))
    return CostVoided(id=number, reason=asked.reason, entry=entry_id, voided_at=pen.now)
