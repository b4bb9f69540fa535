"""Taking back what was recorded by mistake about lots of packing material."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.corrections.acts import Act, void_act
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.ledger.posting import Pen
from app.ledger.tables import Unit
from app.packing.materials.queries import left_of, lot_by_code, standing_lot
from app.packing.materials.rules import number as shown
from app.packing.materials.rules import said
from app.packing.materials.tables import (
    MaterialChange,
    MaterialHold,
    MaterialLot,
    MaterialRelease,
    MaterialUse,
)
from app.shared.codes import some
from app.shared.problems import Refused
from app.shared.staff import Permission


def void_lot(pen: Pen, code: str, asked: ActVoidIn, *, may_release: bool) -> ActVoided:
    """Say that a lot never came; what was counted and written off of it goes with it.

    Raises:
        Refused: `has-dependants` naming packs that used it; `forbidden` for a lot on hold, which
            quality alone undoes, or it could be taken in anew and be free; `already-done`.
    """
    lot = lot_by_code(pen.session, code)
    refuse_used(pen.session, lot)
    if not may_release and open_holds(pen.session, lot):
        raise Refused(
            "forbidden",
            f"{pen.who} may not void {lot.code} (on hold): the permission "
            f"{Permission.RELEASE} is missing.",
            permission=Permission.RELEASE,
        )
    return void_act(pen, act_of(lot), asked)


def act_of(lot: MaterialLot) -> Act:
    """Name the act that took a lot in."""
    return Act("material_lot_id", lot.id, {"lot": lot.code}, lot.entry_id)


def refuse_used(session: Session, lot: MaterialLot) -> None:
    """Refuse to take back a lot that is in the bags of packs that stand."""
    packs = session.scalars(
        select(col(Unit.code))
        .join(MaterialUse, col(MaterialUse.pack_id) == col(Unit.id))
        .where(col(MaterialUse.lot_id) == lot.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    ).all()
    if packs:
        raise Refused(
            "has-dependants",
            f"Lot {lot.code} of packing material cannot be voided: {some(packs)} "
            "used it. Void or correct those first, or count the lot.",
            dependants=list(packs),
        )


def open_holds(session: Session, lot: MaterialLot) -> Sequence[MaterialHold]:
    """Read the holds of a lot that nobody has released."""
    return session.scalars(
        select(MaterialHold)
        .outerjoin(MaterialRelease, col(MaterialRelease.hold_id) == col(MaterialHold.id))
        .where(col(MaterialHold.lot_id) == lot.id, col(MaterialRelease.hold_id).is_(None))
        .order_by(col(MaterialHold.id))
    ).all()


def void_change(pen: Pen, code: str, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a count or a write-off of a lot never was.

    Raises:
        Refused: `insufficient-stock` where packs have used what it added; `already-done`.
    """
    lot = standing_lot(pen.session, code)
    change = pen.session.get(MaterialChange, number)
    if change is None or change.lot_id != lot.id:
        raise Refused("not-found", f"Lot {lot.code} of packing material has no change {number}.")
    act = Act("material_change_id", number, {"lot": lot.code}, change.entry_id)
    voided = void_act(pen, act, asked)
    left = left_of(pen.session, lot.id)
    if left < 0:
        raise Refused(
            "insufficient-stock",
            f"Lot {lot.code} of packing material would be short of {said(-left)}: what change "
            f"{number} added is used. Count the lot instead.",
            material_lot=lot.code,
            left=shown(left),
        )
    return voided
