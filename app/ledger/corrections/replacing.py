"""Booking an act in the place of a mistaken one: one entry voids the old unit and bears the new."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlmodel import col

from app.ledger.corrections.schemas import Correcting
from app.ledger.corrections.tables import Correction
from app.ledger.corrections.voiding import goes_with, refuse_dependants, undo
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.shared.db import among


def happened(pen: Pen, asked: Correcting, said: datetime | None, pointer: str) -> datetime:
    """Take the time somebody gave, else that of the act this one replaces, else now."""
    if said is None and asked.corrects is not None:
        old = unit_by_code(pen.session, asked.corrects)
        return pen.session.get_one(Entry, old.born_entry_id).happened_at
    return pen.moment(said, pointer)


def in_place_of(pen: Pen, posting: Posting, asked: Correcting, kind: UnitKind) -> Posting:
    """Let a posting void the unit that its act replaces, if it replaces one, before all else.

    So what that unit gives back is there for the new one.

    Raises:
        Refused: `wrong-kind` for a unit of another kind, `voided`, `has-dependants`.
    """
    if asked.corrects is None or asked.correction_reason is None:
        return posting
    old = live(unit_by_code(pen.session, asked.corrects, kind))
    doomed = goes_with(pen.session, old)
    refuse_dependants(pen.session, doomed)
    posting.reverses_id = old.born_entry_id
    posting.replaced = [unit.id for unit in doomed]
    posting.reason = asked.correction_reason
    undo(pen.session, posting, doomed, asked.correction_reason)
    return posting


def in_order(posting: Posting) -> dict[int, int]:
    """Pair what a posting replaces with what it bears, old to new; the last stands for the rest."""
    last = len(posting.births) - 1
    return {
        old: posting.births[min(number, last)].id for number, old in enumerate(posting.replaced)
    }  # fmt: skip


def link(pen: Pen, posting: Posting, entry_id: int, by: Mapping[int, int]) -> None:
    """Record what a posting put in the place of what, old to new, and let holds go on.

    But for holds that the old unit's own entry placed: the new one is judged by its own.
    """
    pen.write(Correction, (
        {"old_unit_id": old, "new_unit_id": new, "entry_id": entry_id, "reason": posting.reason}
        for old, new in by.items()
    ))  # fmt: skip
    standing = pen.session.execute(
        select(col(HoldUnit.hold_id), col(HoldUnit.unit_id))
        .join(Hold, col(Hold.id) == col(HoldUnit.hold_id))
        .join(Unit, col(Unit.id) == col(HoldUnit.unit_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(HoldUnit.hold_id))
        .where(among(pen.session, col(HoldUnit.unit_id), by.keys()))
        .where(col(HoldRelease.hold_id).is_(None))
        .where(col(Hold.entry_id) != col(Unit.born_entry_id))
    )
    going_on = sorted({(hold_id, by[unit_id]) for hold_id, unit_id in standing})
    posting.held = {unit for _, unit in going_on}
    pen.write(HoldUnit, ({"hold_id": hold, "unit_id": unit} for hold, unit in going_on))
