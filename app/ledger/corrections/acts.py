"""Taking back acts that made no unit: an adjustment, and records beside the coffee."""

from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.corrections.schemas import ActVoided, ActVoidIn, AdjustmentVoided
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live
from app.ledger.tables import Adjustment, Entry, HoldRelease, Unit
from app.shared.problems import Refused

ADJUSTED = "adjustment"
"""The kind of entry that books an adjustment and nothing else."""


def void_adjustment(pen: Pen, number: int, asked: ActVoidIn) -> AdjustmentVoided:
    """Take an adjustment back by one that reverses it; both stay to be read.

    Raises:
        Refused: `already-done`; `not-voidable` for one that another act booked; `voided` where its
            unit is no more; `insufficient-stock` where the coffee it added is used.
    """
    line = pen.session.get(Adjustment, number)
    if line is None:
        raise Refused("not-found", f"There is no adjustment {number}.")
    _refuse_reversed(pen.session, line)
    entry = pen.session.get_one(Entry, line.entry_id)
    if entry.kind != ADJUSTED:
        raise Refused(
            "not-voidable",
            f"Adjustment {number} was booked by a {entry.kind}, entry {entry.id}: undo that, or "
            "book another adjustment.",
            adjustment=number,
            entry=entry.id,
        )
    unit = live(pen.session.get_one(Unit, line.unit_id))
    said = {"adjustment": number, "unit": unit.code, "reason": asked.reason}
    posting = Posting("void", pen.now, said, reverses_id=entry.id)
    posting.adjust(unit.id, -line.grams, line.reason, asked.reason, reverses=number)
    entry_id = pen.post(posting)
    pen.session.refresh(unit)
    return AdjustmentVoided(
        id=number,
        unit=unit.code,
        grams=-line.grams,
        left_g=unit.left_g,
        reason=asked.reason,
        entry=entry_id,
        voided_at=pen.now,
    )


def _refuse_reversed(session: Session, line: Adjustment) -> None:
    before = session.scalars(
        select(Adjustment).where(col(Adjustment.reverses_id) == line.id)
    ).first()
    if before is not None:
        raise Refused("already-done", f"Adjustment {line.id} was voided before: {before.note}.")
    if line.reverses_id is not None:
        raise Refused(
            "not-voidable",
            f"Adjustment {line.id} takes back {line.reverses_id}: book a new one instead.",
            adjustment=line.id,
        )


class Act(NamedTuple):
    """An act that made no unit."""

    column: str
    """The column of `act_void` that names it."""
    number: int
    """What people know it by."""
    of: Mapping[str, str]
    """What it was about, by what that is."""
    entry_id: int | None
    """The entry it was booked by; None where that booked a unit, which stays as it is."""
    hold_id: int | None = None
    """The hold that it placed."""

    @property
    def noun(self) -> str:
        """What it is called."""
        return self.column.removesuffix("_id").removesuffix("_entry").replace("_", " ")

    @property
    def record(self) -> dict[str, int]:
        """What its void names: its entry where the column says so, else its number."""
        if self.column.endswith("_entry_id") and self.entry_id is not None:
            return {self.column: self.entry_id}
        return {self.column: self.number}


def void_act(pen: Pen, act: Act, asked: ActVoidIn) -> ActVoided:
    """Say that an act never was: what it adjusted is taken back, a hold it placed stays."""
    _, number, of, booked, hold = act
    refuse_void(pen.session, act)
    said = {act.noun: number, **of, "reason": asked.reason}
    posting = Posting("void", pen.now, said, reverses_id=booked)
    for line in pen.session.scalars(
        select(Adjustment)
        .where(col(Adjustment.entry_id) == booked)  # None is equal to nothing
        .order_by(col(Adjustment.id))
    ):
        posting.adjust(line.unit_id, -line.grams, line.reason, asked.reason, reverses=line.id)
    entry_id = pen.post(posting)
    pen.session.add(ActVoid(entry_id=entry_id, reason=asked.reason, **act.record))
    pen.session.flush()  # what the void leaves standing is asked next
    return ActVoided(
        id=number,
        of=next(iter(of.values())),
        reason=asked.reason,
        open_holds=[hold] if hold is not None and _stands(pen.session, hold) else [],
        entry=entry_id,
        voided_at=pen.now,
    )


def refuse_void(session: Session, act: Act) -> None:
    """Refuse an act that was voided before."""
    before = void_of(session, **act.record)
    if before is not None:
        raise Refused(
            "already-done",
            f"{act.noun.capitalize()} {act.number} was voided before: {before.reason}.",
        )


def void_of(session: Session, **record: int) -> ActVoid | None:
    """Find the void of an act, named by its column."""
    return session.scalars(select(ActVoid).filter_by(**record)).first()


def _stands(session: Session, hold: int) -> bool:
    return session.get(HoldRelease, hold) is None
