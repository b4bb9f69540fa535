"""Voiding a unit, by whoever may: what quality stopped is not undone past quality."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger import actions as ledger
from app.ledger.posting import Pen
from app.ledger.queries import held_with, units_by_code
from app.ledger.schemas import Voided, VoidIn
from app.ledger.tables import Hold, HoldRelease, HoldUnit, Unit
from app.quality.rules import FREE, Disposition
from app.roasting.queries import dispositions_of
from app.sending.cases.contents import cased_bags
from app.sending.free import kept_bags
from app.shared.db import among
from app.shared.problems import Refused
from app.shared.staff import Permission


def void(pen: Pen, code: str, asked: VoidIn, *, may_release: bool) -> Voided:
    """Undo a mistaken act, unless that would take coffee out from under a hold or a tasting.

    What was undone could be booked anew, and the new unit would be free.

    Raises:
        Refused: `forbidden` where that lets go what only quality may; `not-free` for bags that
            stand in cases or are kept for picks; and what the ledger refuses.
    """
    voided = ledger.void(pen, code, asked)
    units = list(units_by_code(pen.session, voided.voided).values())
    if not may_release:
        _refuse_stopped(pen, units)
    _refuse_promised(pen, units)
    return voided


def _refuse_stopped(pen: Pen, units: Sequence[Unit]) -> None:
    stopped = [*_held(pen.session, units), *_tasted(pen.session, units)]
    if stopped:
        raise Refused(
            "forbidden",
            f"{pen.who} may not void {', '.join(stopped[:20])}: the permission "
            f"{Permission.RELEASE} is missing.",
            permission=Permission.RELEASE,
        )


def _held(session: Session, units: Sequence[Unit]) -> list[str]:
    """Name units on hold; a hold that came with a unit's own entry goes with it."""
    rows = session.scalars(
        select(col(Unit.code))
        .join(HoldUnit, held_with(col(Unit.id)))
        .join(Hold, col(Hold.id) == col(HoldUnit.hold_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(HoldUnit.hold_id))
        .where(among(session, col(Unit.id), [unit.id for unit in units]))
        .where(col(HoldRelease.hold_id).is_(None))
        .where(col(Hold.entry_id) != col(Unit.born_entry_id))
        .distinct()
    )
    return [f"{code} (on hold)" for code in sorted(rows)]


def _tasted(session: Session, units: Sequence[Unit]) -> list[str]:
    """Name roasts that a tasting limits or stops."""
    found = dispositions_of(session, [unit.id for unit in units])
    return [
        f"{unit.code} ({found[unit.id].replace('_', ' ')})"
        for unit in units
        if unit.id in found and found[unit.id] not in {*FREE, Disposition.SET_ASIDE}
    ]


def _refuse_promised(pen: Pen, units: Sequence[Unit]) -> None:
    """Refuse to void packs whose bags stand in cases or are kept for picks."""
    codes = {unit.id: unit.code for unit in units}
    for taken, where in (
        (cased_bags(pen.session, codes), "stand in cases: take them out"),
        (kept_bags(pen.session, codes, pen.now), "are kept for picks: cancel those"),
    ):
        for unit_id, bags in taken.items():
            raise Refused(
                "not-free",
                f"{bags} bags of {codes[unit_id]} {where} first.",
                unit=codes[unit_id],
                asked_bags=bags,
            )
