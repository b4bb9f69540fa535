"""Acts on any unit: adjust, hold, release, void."""

from collections import Counter
from collections.abc import Mapping

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, made_of, unit_by_code, units_by_code
from app.ledger.schemas import (
    AdjustmentIn,
    AdjustmentOut,
    HoldIn,
    HoldOut,
    ReleaseIn,
    Voided,
    VoidIn,
)
from app.ledger.tables import (
    Adjustment,
    Entry,
    Flow,
    Hold,
    HoldRelease,
    HoldUnit,
    Reason,
    Unit,
    UnitKind,
)
from app.shared.db import among
from app.shared.problems import Refused

_ADJUSTABLE = (
    UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN,
)  # fmt: skip


def adjust(pen: Pen, asked: AdjustmentIn) -> AdjustmentOut:
    """Make a unit lighter or heavier, with the reason."""
    unit = live(unit_by_code(pen.session, asked.unit, *_ADJUSTABLE))
    at = pen.moment(asked.happened_at, "#/happened_at")
    posting = Posting("adjustment", at, asked.model_dump(mode="json"))
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

    Raises:
        Refused: `has-dependants` naming what was made from it; `not-voidable`.
    """
    unit = unit_by_code(pen.session, code)
    doomed = _with_siblings(pen.session, unit)
    _refuse_dependants(pen.session, doomed)
    posting = Posting(
        "void",
        pen.now,
        {"unit": unit.code, "reason": asked.reason},
        reverses_id=unit.born_entry_id,
        voided=[each.id for each in doomed],
    )
    given_back = _give_back(pen.session, posting)
    if unit.kind != UnitKind.LOT:
        for lines in pen.session.scalars(
            select(Adjustment).where(col(Adjustment.entry_id) == unit.born_entry_id)
        ):
            posting.adjust(lines.unit_id, -lines.grams, lines.reason, asked.reason)
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


def _with_siblings(session: Session, unit: Unit) -> list[Unit]:
    """Name what goes with a unit: a lot takes its sacks, a return all that came with it."""
    if unit.voided_entry_id is not None:
        raise Refused("not-voidable", f"{unit.kind} {unit.code} was voided before.", unit=unit.code)
    if unit.kind == UnitKind.SACK:
        raise Refused(
            "not-voidable",
            f"{unit.code} is one sack of a lot: adjust its mass, or void the whole lot.",
            unit=unit.code,
        )
    if unit.kind == UnitKind.LOT:
        sacks = session.scalars(
            select(Unit).join(Flow, col(Flow.target_id) == col(Unit.id))
            .where(col(Flow.source_id) == unit.id).order_by(col(Unit.id))
        ).all()  # fmt: skip
        return [unit, *sacks]
    if unit.kind == UnitKind.RETURN:
        return list(session.scalars(
            select(Unit).where(col(Unit.born_entry_id) == unit.born_entry_id).order_by(col(Unit.id))
        ))  # fmt: skip
    return [unit]


def _refuse_dependants(session: Session, doomed: list[Unit]) -> None:
    doomed_ids = {unit.id for unit in doomed}
    made = sorted({*made_of(session, doomed_ids), *_came_back(session, doomed_ids)})
    if made:
        raise Refused(
            "has-dependants",
            f"{doomed[0].code} cannot be voided: {', '.join(made[:20])} came from it. "
            "Void those first.",
            dependants=made,
        )
    for unit in doomed:
        if unit.kind == UnitKind.SACK and unit.left_g != unit.made_g:
            raise Refused(
                "has-dependants",
                f"{doomed[0].code} cannot be voided: sack {unit.code} has been adjusted.",
                dependants=[unit.code],
            )


def _came_back(session: Session, doomed_ids: set[int]) -> list[str]:
    """Name live returns of a dispatch: they lightened it without flowing out of it."""
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(Adjustment, col(Adjustment.entry_id) == col(Unit.born_entry_id))
        .where(col(Adjustment.reason) == Reason.RETURNED)
        .where(among(session, col(Adjustment.unit_id), doomed_ids))
        .where(col(Unit.voided_entry_id).is_(None))
    )
    return [code for unit_id, code in rows if unit_id not in doomed_ids]


def _give_back(session: Session, posting: Posting) -> dict[str, int]:
    """Give what flowed into the voided units back to where it came from; code to grams."""
    given: Counter[str] = Counter()
    flows = session.execute(
        select(col(Flow.source_id), col(Unit.code), col(Flow.grams))
        .join(Unit, col(Unit.id) == col(Flow.source_id))
        .where(among(session, col(Flow.target_id), posting.voided))
        .order_by(col(Flow.source_id))
    )
    voided = set(posting.voided)
    for source_id, code, grams in flows:
        if source_id not in voided:
            posting.given_back[source_id] += grams
            given[code] += grams
    return given
