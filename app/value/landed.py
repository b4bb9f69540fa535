"""What lots cost until they were there, read in a fixed number of statements."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from sqlalchemy import func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.contracts.tables import PurchaseContract
from app.green.tables import Condition, Delivery, GreenLot, Sack
from app.ledger.corrections.tables import Correction
from app.ledger.tables import Unit, UnitKind
from app.shared.db import among
from app.standards.buying import PriceUnit, WeightBasis
from app.standards.costing import UNPRICED, CostKind, Money, added, per_gram, times
from app.value.tables import CostLine, CostLineVoid


class Part(NamedTuple):
    """One cost, as far as it is a lot's."""

    kind: CostKind
    currency: str
    amount: Fraction
    number: int | None = None
    of_delivery: bool = False
    note: str | None = None


class Landed(NamedTuple):
    """What a lot cost."""

    net_g: int
    swept_g: int
    """Of it, what was swept up: it is expensed on arrival and worth nothing."""
    parts: Sequence[Part]
    purchase_from: str | None
    basis: WeightBasis | None

    @property
    def money(self) -> Money:
        """Everything together; a lot without a price is without one as a whole."""
        unpriced = {UNPRICED: Fraction(self.net_g)} if self.purchase_from is None else {}
        return added(unpriced, *({part.currency: part.amount} for part in self.parts))

    @property
    def per_gram(self) -> Money:
        """What a gram of it cost."""
        return times(self.money, Fraction(1, self.net_g))


class _Lot(NamedTuple):
    """What is known of a lot, voided or not."""

    id: int
    delivery_id: int
    made_g: int
    voided: bool
    cost_per_kg: str | None
    currency: str | None
    shipped_g: int | None
    contract: PurchaseContract | None
    swept_g: int

    @property
    def basis(self) -> WeightBasis | None:
        return WeightBasis(self.contract.weight_basis) if self.contract else None

    @property
    def paid_g(self) -> int:
        """What a price is multiplied by: shipped weight where the contract is paid on that."""
        if self.basis is WeightBasis.SHIPPED and self.shipped_g is not None:
            return self.shipped_g
        return self.made_g


class _Lots(NamedTuple):
    """Lots, and what they were replaced by."""

    known: Mapping[int, _Lot]
    successor: Mapping[int, int]

    def live(self, lot_id: int) -> int:
        """Follow a lot to what stands in its place."""
        while lot_id in self.successor:
            lot_id = self.successor[lot_id]
        return lot_id

    def of_delivery(self, delivery_id: int) -> set[int]:
        """Name the lots that a delivery brought, as they stand."""
        brought = {self.live(lot.id) for lot in self.known.values()
                   if lot.delivery_id == delivery_id}  # fmt: skip
        return {lot for lot in brought if lot in self.known and not self.known[lot].voided}


def landed_costs(session: Session, lot_ids: Collection[int]) -> Mapping[int, Landed]:
    """Work out what each of these lots cost."""
    lots = _read_lots(session, lot_ids)
    lines: dict[int, list[Part]] = {lot_id: [] for lot_id in lot_ids}
    for lot_id, part in _shares(_lines(session, lots), lots):
        if lot_id in lines:
            lines[lot_id].append(part)
    return {lot_id: _landed(lots.known[lot_id], parts) for lot_id, parts in lines.items()}


def _landed(lot: _Lot, parts: list[Part]) -> Landed:
    source = "costs" if any(part.kind is CostKind.PURCHASE for part in parts) else None
    if source is None and lot.cost_per_kg is not None and lot.currency is not None:
        amount = Fraction(lot.cost_per_kg) * lot.made_g / 1000
        parts = [Part(CostKind.PURCHASE, lot.currency, amount), *parts]
        source = "stock_file"
    if source is None and lot.contract is not None and lot.contract.price is not None:
        unit = PriceUnit(str(lot.contract.price_unit))
        amount = per_gram(lot.contract.price, unit) * lot.paid_g
        parts = [Part(CostKind.PURCHASE, str(lot.contract.currency), amount), *parts]
        source = "contract"
    return Landed(lot.made_g, int(lot.swept_g), parts, source, lot.basis)


def _shares(lines: Sequence[CostLine], lots: _Lots) -> Iterator[tuple[int, Part]]:
    """Give each lot its part of each cost: of a delivery's by what it weighed on arrival."""
    for line in lines:
        if line.lot_id is not None:
            sharing = {lots.live(line.lot_id)} & lots.known.keys()
        else:
            sharing = lots.of_delivery(line.delivery_id or 0)
        whole_g = sum(lots.known[lot].made_g for lot in sharing)
        for lot_id in sorted(sharing):
            lot = lots.known[lot_id]
            amount = _amount(line, lot) * (
                Fraction(lot.made_g, whole_g) if line.price is None else 1
            )
            yield lot_id, Part(
                CostKind(line.kind), line.currency, amount, line.id,
                line.delivery_id is not None, line.note,
            )  # fmt: skip


def _amount(line: CostLine, lot: _Lot) -> Fraction:
    if line.price is not None:
        return per_gram(line.price, PriceUnit(str(line.price_unit))) * lot.paid_g
    sign = -1 if line.kind == CostKind.CLAIM else 1
    return sign * Fraction(line.amount or 0)


_swept = aliased(Unit)
_SWEPT_G = (
    select(func.coalesce(func.sum(col(_swept.made_g)), 0))
    .join(Sack, col(Sack.unit_id) == col(_swept.id))
    .where(col(Sack.lot_id) == col(GreenLot.unit_id))
    .where(col(Sack.condition) == Condition.SWEEPINGS)
    .correlate(GreenLot)
    .scalar_subquery()
)
"""What was swept up of a lot, in a statement over `green_lot`."""


def _read_lots(session: Session, lot_ids: Collection[int]) -> _Lots:
    """Read these lots with all that came in their deliveries, and what was replaced by what."""
    successor = _replaced(session)
    family = set(lot_ids)
    while more := {old for old, new in successor.items() if new in family} - family:
        family |= more
    deliveries = select(col(GreenLot.delivery_id)).where(
        among(session, col(GreenLot.unit_id), family)
    )
    there = or_(
        col(GreenLot.delivery_id).in_(deliveries),
        among(session, col(GreenLot.unit_id), successor.values()),
    )
    rows = session.execute(
        select(
            col(GreenLot.unit_id), col(GreenLot.delivery_id), col(Unit.made_g),
            col(Unit.voided_entry_id).is_not(None), col(GreenLot.cost_per_kg),
            col(GreenLot.currency), col(GreenLot.shipped_g), PurchaseContract, _SWEPT_G,
        )
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .outerjoin(PurchaseContract, col(PurchaseContract.id) == col(Delivery.contract_id))
        .where(there)
    )  # fmt: skip
    return _Lots({row[0]: _Lot(*row) for row in rows}, successor)


def _replaced(session: Session) -> Mapping[int, int]:
    """Tell which lot stands in the place of which."""
    rows = session.execute(
        select(col(Correction.old_unit_id), col(Correction.new_unit_id))
        .join(Unit, col(Unit.id) == col(Correction.new_unit_id))
        .where(col(Unit.kind) == UnitKind.LOT)
    )
    return {row[0]: row[1] for row in rows}


def _lines(session: Session, lots: _Lots) -> Sequence[CostLine]:
    """Read the costs that stand of these lots and of their deliveries, in the order booked."""
    deliveries = {lot.delivery_id for lot in lots.known.values()}
    voided: Any = select(col(CostLineVoid.cost_line_id))
    return session.scalars(
        select(CostLine)
        .where(or_(
            among(session, col(CostLine.lot_id), lots.known),
            among(session, col(CostLine.delivery_id), deliveries),
        ))
        .where(col(CostLine.id).not_in(voided))
        .order_by(col(CostLine.id))
    ).all()  # fmt: skip
