"""Reading packing materials: what is left of their lots, and which pack used which."""

from collections.abc import Sequence
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, bindparam, case, exists, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Supplier
from app.ledger.cards import Shelf, card_at
from app.ledger.corrections.acts import void_of
from app.ledger.corrections.tables import ActVoid
from app.ledger.tables import Entry, Unit
from app.packing.materials.schemas import (
    LotChangeOut,
    LotHoldOut,
    MaterialLotOut,
    MaterialOut,
    MaterialUseOut,
)
from app.packing.materials.tables import (
    Material,
    MaterialChange,
    MaterialHold,
    MaterialLot,
    MaterialRelease,
    MaterialUse,
)
from app.shared.db import AnySelect, IdColumn
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused

MATERIALS = Shelf("material", Material, MaterialOut, key="code", folded="code")


def _of_live_packs(column: IdColumn) -> ColumnElement[int]:
    """Add up in a statement what packs that stand took of a lot: a voided one never was."""
    return (
        select(func.coalesce(func.sum(column), 0))
        .select_from(MaterialUse)
        .join(Unit, col(Unit.id) == col(MaterialUse.pack_id))
        .where(col(MaterialUse.lot_id) == col(MaterialLot.id))
        .where(col(Unit.voided_entry_id).is_(None))
        .correlate(MaterialLot)
        .scalar_subquery()
    )


_USED = _of_live_packs(col(MaterialUse.used_milli)).label("used")
_SPOILED = _of_live_packs(col(MaterialUse.spoiled_milli)).label("spoiled")
_CORRECTED = (
    select(func.coalesce(func.sum(col(MaterialChange.change_milli)), 0))
    .outerjoin(ActVoid, col(ActVoid.material_change_id) == col(MaterialChange.id))
    .where(col(MaterialChange.lot_id) == col(MaterialLot.id), col(ActVoid.entry_id).is_(None))
    .correlate(MaterialLot)
    .scalar_subquery()
    .label("corrected")
)
VOIDED = exists(
    select(col(ActVoid.entry_id))
    .where(col(ActVoid.material_lot_id) == col(MaterialLot.id))
    .correlate(MaterialLot)
).label("voided")
"""Whether a lot was taken in by mistake."""
_STANDING = col(MaterialLot.received_milli) - _USED.element - _SPOILED.element + _CORRECTED.element
LEFT = case((VOIDED.element, 0), else_=_STANDING).label("left")
"""What is left of a lot: derived, never kept, so that a void gives back by itself."""
HELD = exists(
    select(col(MaterialHold.id))
    .outerjoin(MaterialRelease, col(MaterialRelease.hold_id) == col(MaterialHold.id))
    .where(col(MaterialRelease.hold_id).is_(None))
    .where(col(MaterialHold.lot_id) == col(MaterialLot.id))
    .correlate(MaterialLot)
).label("held")

# Built once: a pack asks this on its way into the book.
LOTS_TO_USE: AnySelect = (
    select(
        col(MaterialLot.id),
        col(MaterialLot.code),
        col(Material.code).label("material"),
        col(Material.kind),
        col(Material.unit),
        col(Material.has_valve),
        LEFT,
        HELD,
        VOIDED,
    )
    .join(Material, col(Material.id) == col(MaterialLot.material_id))
    .where(col(MaterialLot.code).in_(bindparam("codes", expanding=True)))
)


@cache
def _lots() -> AnySelect:
    successor = aliased(MaterialLot)
    return (
        select(
            col(MaterialLot.id),
            col(MaterialLot.code),
            col(Material.code).label("material"),
            col(Material.kind),
            col(Material.unit),
            func.coalesce(col(Supplier.name), col(MaterialLot.supplier_name)).label("supplier"),
            col(MaterialLot.reference),
            col(Entry.happened_at),
            col(MaterialLot.received_milli),
            _USED,
            _SPOILED,
            _CORRECTED,
            LEFT,
            HELD,
            col(MaterialLot.note),
            col(MaterialLot.entry_id),
            col(ActVoid.reason).label("void_reason"),
            col(successor.code).label("replaced_by"),
        )
        .join(Material, col(Material.id) == col(MaterialLot.material_id))
        .join(Entry, col(Entry.id) == col(MaterialLot.entry_id))
        .outerjoin(Supplier, col(Supplier.id) == col(MaterialLot.supplier_id))
        .outerjoin(ActVoid, col(ActVoid.material_lot_id) == col(MaterialLot.id))
        .outerjoin(successor, col(successor.entry_id) == col(ActVoid.entry_id))
    )


def _shown(row: Any) -> MaterialLotOut:  # noqa: ANN401 - a row of `_lots`
    return MaterialLotOut(
        code=row.code,
        material=row.material,
        kind=row.kind,
        unit=row.unit,
        supplier=row.supplier,
        reference=row.reference,
        received_at=row.happened_at,
        received=row.received_milli,
        used=int(row.used),
        spoiled=int(row.spoiled),
        corrected=int(row.corrected),
        left=int(row.left),
        held=bool(row.held),
        note=row.note,
        voided=row.void_reason is not None,
        void_reason=row.void_reason,
        replaced_by=row.replaced_by,
    )


def lot_by_code(session: Session, code: str) -> MaterialLot:
    """Find the lot that a path names."""
    found = session.scalars(select(MaterialLot).where(col(MaterialLot.code) == code)).first()
    if found is None:
        raise Refused("not-found", f"There is no lot of packing material {code}.")
    return found


def standing_lot(session: Session, code: str) -> MaterialLot:
    """Find the lot that a path names, unless it was voided."""
    found = lot_by_code(session, code)
    refuse_voided(found.code, voided=void_of(session, material_lot_id=found.id) is not None)
    return found


def refuse_voided(code: str, *, voided: bool) -> None:
    """Refuse a lot that was taken in by mistake."""
    if voided:
        raise Refused("voided", f"Lot {code} of packing material was voided.", material_lot=code)


def lot(session: Session, code: str) -> MaterialLotOut:
    """Read one lot with where all of it went."""
    found = lot_by_code(session, code)
    return _shown(session.execute(_lots().where(col(MaterialLot.id) == found.id)).one())


def left_of(session: Session, lot_id: int) -> int:
    """Tell what is left of a lot, in thousandths."""
    return int(session.scalar(select(LEFT).where(col(MaterialLot.id) == lot_id)) or 0)


def lot_page(session: Session, page: Page, material: str | None, on_hand: bool | None) -> PageOf:
    """Read lots in the order they came."""
    statement = _lots()
    if material is not None:
        card = card_at(session, MATERIALS, material)
        statement = statement.where(col(MaterialLot.material_id) == card.id)
    if on_hand is not None:
        statement = statement.where(LEFT.element > 0 if on_hand else LEFT.element <= 0)
    rows, following = turn_page(session, statement, col(MaterialLot.id), page)
    return [_shown(row).model_dump(by_alias=True) for row in rows], following


def change_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the counts and write-offs of a lot, oldest first."""
    found = lot_by_code(session, code)
    statement: AnySelect = (
        select(
            col(MaterialChange.id), MaterialChange, col(Entry.happened_at), col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(MaterialChange.entry_id))
        .outerjoin(ActVoid, col(ActVoid.material_change_id) == col(MaterialChange.id))
        .where(col(MaterialChange.lot_id) == found.id)
    )  # fmt: skip
    rows, following = turn_page(session, statement, col(MaterialChange.id), page)
    return [
        LotChangeOut(
            id=row.id,
            lot=found.code,
            counted=row.MaterialChange.counted_milli,
            change=row.MaterialChange.change_milli,
            reason=row.MaterialChange.reason,
            changed_at=row.happened_at,
            changed_by=row.who,
            voided=row.void_reason is not None,
            void_reason=row.void_reason,
        ).model_dump(by_alias=True)
        for row in rows
    ], following


@cache
def _holds() -> AnySelect:
    placed, ended = aliased(Entry), aliased(Entry)
    return (
        select(
            col(MaterialHold.id),
            col(MaterialLot.code),
            col(MaterialHold.reason),
            col(placed.recorded_at).label("placed_at"),
            col(placed.who).label("placed_by"),
            col(ended.recorded_at).label("released_at"),
            col(ended.who).label("released_by"),
            col(MaterialRelease.reason).label("release_reason"),
        )
        .join(MaterialLot, col(MaterialLot.id) == col(MaterialHold.lot_id))
        .join(placed, col(placed.id) == col(MaterialHold.entry_id))
        .outerjoin(MaterialRelease, col(MaterialRelease.hold_id) == col(MaterialHold.id))
        .outerjoin(ended, col(ended.id) == col(MaterialRelease.entry_id))
    )


def _hold_shown(row: Any) -> LotHoldOut:  # noqa: ANN401 - a row of `_holds`
    return LotHoldOut(
        id=row.id,
        lot=row.code,
        reason=row.reason,
        placed_at=row.placed_at,
        placed_by=row.placed_by,
        released_at=row.released_at,
        released_by=row.released_by,
        release_reason=row.release_reason,
    )


def hold(session: Session, number: int) -> LotHoldOut:
    """Read one hold of a lot."""
    row = session.execute(_holds().where(col(MaterialHold.id) == number)).first()
    if row is None:
        raise Refused("not-found", f"There is no hold {number} of packing material.")
    return _hold_shown(row)


def hold_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the holds of a lot, oldest first."""
    found = lot_by_code(session, code)
    statement = _holds().where(col(MaterialHold.lot_id) == found.id)
    rows, following = turn_page(session, statement, col(MaterialHold.id), page)
    return [_hold_shown(row).model_dump(by_alias=True) for row in rows], following


def open_holds(session: Session, most: int) -> Sequence[LotHoldOut]:
    """Read the holds of packing material that stand, the oldest first."""
    standing = _holds().where(col(MaterialRelease.hold_id).is_(None))
    rows = session.execute(standing.order_by(col(MaterialHold.id)).limit(most))
    return [_hold_shown(row) for row in rows]


def used_by(session: Session, pack_id: int) -> Sequence[MaterialUseOut]:
    """Read what a pack used, in the order in which the lots came."""
    rows = session.execute(
        select(MaterialUse, col(MaterialLot.code), col(Material.code).label("material"),
               col(Material.kind), col(Material.unit))
        .join(MaterialLot, col(MaterialLot.id) == col(MaterialUse.lot_id))
        .join(Material, col(Material.id) == col(MaterialLot.material_id))
        .where(col(MaterialUse.pack_id) == pack_id)
        .order_by(col(MaterialLot.id))
    )  # fmt: skip
    return [
        MaterialUseOut(
            lot=row.code,
            material=row.material,
            kind=row.kind,
            unit=row.unit,
            used=row.MaterialUse.used_milli,
            issued=row.MaterialUse.issued_milli,
            spoiled=row.MaterialUse.spoiled_milli,
            returned=row.MaterialUse.returned_milli,
        )
        for row in rows
    ]
