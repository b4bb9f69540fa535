"""Taking packing materials in, counting them, writing them off, stopping them."""

from sqlalchemy import select
from sqlmodel import Session, SQLModel, col

from app.green.actions import SUPPLIERS
from app.green.tables import Supplier
from app.ledger.cards import find, named
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen, Posting
from app.ledger.schemas import ReleaseIn
from app.ledger.tables import Entry
from app.packing.materials import queries
from app.packing.materials.queries import MATERIALS, left_of, standing_lot
from app.packing.materials.rules import number, said
from app.packing.materials.schemas import (
    LotChanged,
    LotChangeIn,
    LotHoldIn,
    LotHoldOut,
    MaterialLotIn,
    MaterialLotOut,
)
from app.packing.materials.tables import (
    MaterialChange,
    MaterialHold,
    MaterialLot,
    MaterialRelease,
    MaterialUnit,
)
from app.packing.materials.voids import open_holds, refuse_used
from app.shared.codes import issue
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused


def _write(pen: Pen, row: SQLModel) -> None:
    pen.session.add(row)
    pen.session.flush()  # the answer reads what was written


def take_in(pen: Pen, asked: MaterialLotIn) -> MaterialLotOut:
    """Book a lot of packing material that came, also in the place of one taken in by mistake.

    Holds on that one go on for the new one.

    Raises:
        Refused: `code-taken`; `has-dependants` for a lot to be replaced that packs used; `voided`.
    """
    material = named(pen.session, MATERIALS, asked.material, "#/material")
    _refuse_broken(material.unit, asked.quantity_milli, "#/quantity")
    supplier = _supplier(pen.session, asked.supplier)
    old = _replaced(pen.session, asked)
    at = pen.moment(asked.received_at, "#/received_at")
    if old is not None and asked.received_at is None:
        at = pen.session.get_one(Entry, old.entry_id).happened_at
    lot_id = next_number(pen.session, col(MaterialLot.id))
    code = asked.code or issue("M", lot_id)
    _refuse_taken(pen.session, code)
    facts = asked.model_dump(mode="json") | {"code": code}
    posting = Posting("packing material received", at, facts)
    posting.reverses_id = old.entry_id if old else None
    entry_id = pen.post(posting)
    _write(pen, MaterialLot(
        id=lot_id, code=code, material_id=material.id or 0,
        supplier_id=supplier.id if supplier else None,
        supplier_name=None if supplier or asked.supplier is None else str(asked.supplier),
        reference=asked.reference, received_milli=asked.quantity_milli, note=asked.note,
        entry_id=entry_id,
    ))  # fmt: skip
    if old is not None:
        _replace(pen, old, lot_id, entry_id, asked.correction_reason or "")
    return queries.lot(pen.session, code)


def _replaced(session: Session, asked: MaterialLotIn) -> MaterialLot | None:
    """Find the lot in whose place another one is taken in: no pack may have used it."""
    if asked.corrects is None:
        return None
    old = standing_lot(session, asked.corrects)
    refuse_used(session, old)
    return old


def _replace(pen: Pen, old: MaterialLot, lot_id: int, entry_id: int, reason: str) -> None:
    pen.session.add(ActVoid(entry_id=entry_id, reason=reason, material_lot_id=old.id))
    for placed in open_holds(pen.session, old):
        _write(pen, MaterialHold(
            id=next_number(pen.session, col(MaterialHold.id)), lot_id=lot_id,
            reason=placed.reason, entry_id=entry_id,
        ))  # fmt: skip
    pen.session.flush()  # the answer reads what was written


def _supplier(session: Session, named_as: str | int | None) -> Supplier | None:
    """Find the card; a word that names none stays a word."""
    if isinstance(named_as, int):
        return named(session, SUPPLIERS, named_as, "#/supplier")
    return find(session, SUPPLIERS, named_as) if named_as else None


def _refuse_taken(session: Session, code: str) -> None:
    if session.scalar(select(col(MaterialLot.id)).where(col(MaterialLot.code) == code)):
        raise Refused(
            "code-taken", f"There is already a lot of packing material {code}.", codes=[code]
        )


def _refuse_broken(unit: str, thousandths: int | None, pointer: str) -> None:
    if unit == MaterialUnit.PIECE and thousandths is not None and thousandths % 1000:
        raise FieldRefused(pointer, f"{said(thousandths)} is no whole number of pieces")


def change_lot(pen: Pen, code: str, asked: LotChangeIn) -> LotChanged:
    """Let the book follow a count, or write something off."""
    lot = standing_lot(pen.session, code)
    unit = pen.session.get_one(MATERIALS.table, lot.material_id).unit
    _refuse_broken(unit, asked.counted_milli, "#/counted")
    _refuse_broken(unit, asked.written_off_milli, "#/written_off")
    left = left_of(pen.session, lot.id)
    if asked.counted_milli is not None:
        kind, change = "packing material counted", asked.counted_milli - left
    else:
        kind, change = "packing material written off", -(asked.written_off_milli or 0)
    if left + change < 0:
        raise too_little(lot.code, -change, left)
    facts = asked.model_dump(mode="json") | {"lot": lot.code, "change_milli": change}
    entry_id = pen.note(kind, facts)
    row = MaterialChange(
        id=next_number(pen.session, col(MaterialChange.id)), lot_id=lot.id, change_milli=change,
        counted_milli=asked.counted_milli, reason=asked.reason, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    return LotChanged(
        id=row.id,
        lot=lot.code,
        counted=asked.counted_milli,
        change=change,
        left=left + change,
        reason=asked.reason,
        changed_at=pen.now,
        changed_by=pen.who,
    )


def too_little(code: str, asked: int, left: int) -> Refused:
    """Say that a lot holds less than was asked, in thousandths."""
    return Refused(
        "insufficient-stock",
        f"Lot {code} of packing material has {said(left)} left; {said(asked)} were asked.",
        material_lot=code,
        asked=number(asked),
        left=number(left),
    )


def hold_lot(pen: Pen, code: str, asked: LotHoldIn) -> LotHoldOut:
    """Stop a lot: no pack uses it until it is released."""
    lot = standing_lot(pen.session, code)
    hold_id = next_number(pen.session, col(MaterialHold.id))
    entry_id = pen.note("packing material held", {"lot": lot.code, "reason": asked.reason})
    _write(pen, MaterialHold(id=hold_id, lot_id=lot.id, reason=asked.reason, entry_id=entry_id))
    return queries.hold(pen.session, hold_id)


def release_lot(pen: Pen, hold_id: int, asked: ReleaseIn) -> LotHoldOut:
    """End a hold, with the reason."""
    placed = queries.hold(pen.session, hold_id)
    if placed.released_at is not None:
        raise Refused(
            "already-done", f"Hold {hold_id} was released before: {placed.release_reason}."
        )
    facts = {"hold": hold_id, "lot": placed.lot, "reason": asked.reason}
    entry_id = pen.note("packing material released", facts)
    _write(pen, MaterialRelease(hold_id=hold_id, reason=asked.reason, entry_id=entry_id))
    return queries.hold(pen.session, hold_id)
