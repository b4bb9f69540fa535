"""Acts on any unit: adjust, hold, release, void."""

from collections.abc import Mapping

from sqlalchemy import select
from sqlmodel import col

from app.ledger.corrections.acts import ADJUSTED
from app.ledger.corrections.voiding import goes_with, named_dependants, refuse_dependants, undo
from app.ledger.posting import Pen, Posting
from app.ledger.queries import heavier_than_made, live, unit_by_code, units_by_code
from app.ledger.schemas import (
    AdjustmentIn,
    AdjustmentOut,
    HoldIn,
    HoldOut,
    ReleaseIn,
    Voided,
    VoidIn,
)
from app.ledger.tables import Entry, Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.shared.problems import Refused

_ADJUSTABLE = (
    UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN,
)  # fmt: skip


def adjust(pen: Pen, asked: AdjustmentIn) -> AdjustmentOut:
    """Make a unit lighter or heavier, with the reason."""
    unit = live(unit_by_code(pen.session, asked.unit, *_ADJUSTABLE))
    at = pen.moment(asked.happened_at, "#/happened_at")
    posting = Posting(ADJUSTED, at, asked.model_dump(mode="json"))
    posting.adjust(unit.id, asked.grams, asked.reason, asked.note)
    entry_id = pen.post(posting)
    pen.session.refresh(unit)
    return AdjustmentOut(
        unit=unit.code,
        grams=asked.grams,
        reason=asked.reason,
        note=asked.note,
        left_g=unit.left_g,
        happened_at=at,
        warnings=heavier_than_made(pen.session, [unit.id]) if asked.grams > 0 else [],
        entry=entry_id,
    )


def hold(pen: Pen, asked: HoldIn) -> HoldOut:
    """Stop units: none of them can be drawn, blended, packed or sent until it is released."""
    units = units_by_code(pen.session, asked.units)
    entry_id = pen.note("hold", asked.model_dump(mode="json"))
    return place_hold(pen, entry_id, [live(units[code]) for code in asked.units], asked.reason)


def place_hold(pen: Pen, entry_id: int, units: list[Unit], reason: str) -> HoldOut:
    """Put a hold on units as part of an entry that is already written."""
    placed = Hold(entry_id=entry_id, reason=reason)
    pen.session.add(placed)
    pen.session.flush()  # the database numbers the hold
    assert placed.id is not None  # noqa: S101 - flushed
    # A recall holds thousands at once: rows, not entities.
    pen.write(HoldUnit, ({"hold_id": placed.id, "unit_id": unit.id} for unit in units))
    return HoldOut(
        id=placed.id,
        units=[unit.code for unit in units],
        reason=reason,
        placed_at=pen.now,
        placed_by=pen.who,
    )


def release(
    pen: Pen, hold_id: int, asked: ReleaseIn, more: Mapping[str, object] | None = None
) -> HoldOut:
    """End a hold, with the reason; `more` is what else the journal is to say of it."""
    session = pen.session
    placed = session.get(Hold, hold_id)
    if placed is None:
        raise Refused("not-found", f"There is no hold {hold_id}.")
    ended = session.get(HoldRelease, hold_id)
    if ended is not None:
        raise Refused("already-done", f"Hold {hold_id} was released before: {ended.reason}.")
    entry_id = pen.note("release", {"hold": hold_id, "reason": asked.reason, **(more or {})})
    session.add(HoldRelease(hold_id=hold_id, entry_id=entry_id, reason=asked.reason))
    entry = session.get_one(Entry, placed.entry_id)
    codes = session.scalars(
        select(col(Unit.code)).join(HoldUnit, col(HoldUnit.unit_id) == col(Unit.id))
        .where(col(HoldUnit.hold_id) == hold_id).order_by(col(Unit.id))
    )  # fmt: skip
    return HoldOut(
        id=hold_id,
        units=list(codes),
        reason=placed.reason,
        placed_at=entry.recorded_at,
        placed_by=entry.who,
        released_at=pen.now,
        released_by=pen.who,
        release_reason=asked.reason,
    )


def void(pen: Pen, code: str, asked: VoidIn) -> Voided:
    """Undo a mistaken act: a correcting entry marks what it made and gives its inputs back.

    With `with`, all that was made from it is undone in the same entry.

    Raises:
        Refused: `has-dependants` naming what was made from it; `not-voidable`.
    """
    unit = unit_by_code(pen.session, code)
    doomed = goes_with(pen.session, unit)
    if asked.dependants is None:
        refuse_dependants(pen.session, doomed)
    else:
        doomed += named_dependants(pen.session, doomed, asked.dependants)
    said = asked.model_dump(mode="json", by_alias=True, exclude_none=True)
    posting = Posting("void", pen.now, {"unit": unit.code} | said, reverses_id=unit.born_entry_id)
    given_back = undo(pen.session, posting, doomed, asked.reason)
    entry_id = pen.post(posting)
    return Voided(
        code=unit.code,
        kind=unit.kind,
        voided=[each.code for each in doomed],
        given_back=given_back,
        reason=asked.reason,
        entry=entry_id,
        voided_at=pen.now,
    )
