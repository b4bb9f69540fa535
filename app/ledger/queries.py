"""Reading the book: units by code, what is on hold, the journal."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from functools import lru_cache

from sqlalchemy import ColumnElement, bindparam, exists, func, or_, select
from sqlalchemy.orm import aliased, object_session
from sqlmodel import Session, col

from app.ledger.corrections.queries import newest
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
from app.shared.codes import Standing, standing
from app.shared.db import AnySelect, IdColumn, among, batched
from app.shared.mass import kg_from_grams, kg_text
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text


def unknown(code: str) -> Refused:
    """Say whether a code that is not there was misread or never booked."""
    if standing(code) is Standing.MISREAD:
        return Refused(
            "misread-code", f"{code} was misread: its check character does not fit.", code=code
        )
    return Refused(
        "unknown-code", f"No lot, sack, roast or other unit has the code {code}.", code=code
    )


# Built once: putting a statement together takes several times as long as running it.
_BY_ONE_CODE = select(Unit).where(col(Unit.code) == bindparam("code"))
_BY_CODE = select(Unit).where(col(Unit.code).in_(bindparam("codes", expanding=True)))


def unit_by_code(session: Session, code: str, *kinds: UnitKind) -> Unit:
    """Find a unit; refuse a misread or unknown code and a unit of another kind than asked."""
    unit = session.scalars(_BY_ONE_CODE, {"code": code}).first()
    if unit is None:
        raise unknown(code)
    _refuse_other_kind(unit, kinds)
    return unit


def units_by_code(session: Session, codes: Sequence[str], *kinds: UnitKind) -> dict[str, Unit]:
    """Find many units at once, as `unit_by_code` does one."""
    if len(codes) == 1:
        return {codes[0]: unit_by_code(session, codes[0], *kinds)}
    found: dict[str, Unit] = {}
    for some in batched(codes, 500):
        found |= {unit.code: unit for unit in session.scalars(_BY_CODE, {"codes": some})}
    for code in codes:
        if code not in found:
            raise unknown(code)
        _refuse_other_kind(found[code], kinds)
    return found


def live(unit: Unit) -> Unit:
    """Pass a unit on unless it was voided."""
    if unit.voided_entry_id is not None:
        raise voided(unit)
    return unit


def voided(unit: Unit) -> Refused:
    """Say that a unit was voided and, where another one was booked in its place, which."""
    session = object_session(unit)
    assert session is not None  # noqa: S101 - read from the database
    by = newest(session, unit.id)
    if by is None:
        return Refused("voided", f"{unit.kind} {unit.code} was voided.", unit=unit.code)
    return Refused(
        "voided",
        f"{unit.kind} {unit.code} was voided; it was replaced by {by.code}.",
        unit=unit.code,
        replaced_by=by.code,
    )


def _refuse_other_kind(unit: Unit, kinds: tuple[UnitKind, ...]) -> None:
    if kinds and unit.kind not in kinds:
        wanted = " or ".join(kinds)
        raise Refused(
            "wrong-kind",
            f"{unit.code} is a {unit.kind}; wanted was a {wanted}.",
            unit=unit.code,
            kind=unit.kind,
            wanted=list(kinds),
        )


def held_with(unit_id: IdColumn) -> ColumnElement[bool]:
    """Tell in a statement over `hold_unit` whether it names a unit, or the lot it came from."""
    return or_(col(HoldUnit.unit_id) == unit_id, _names_its_lot(unit_id))


def _names_its_lot(unit_id: IdColumn) -> ColumnElement[bool]:
    lot = aliased(Unit)
    lot_flow = aliased(Flow)
    lots = (
        select(col(lot_flow.source_id))
        .join(lot, col(lot.id) == col(lot_flow.source_id))
        .where(col(lot_flow.target_id) == unit_id, col(lot.kind) == UnitKind.LOT)
        .correlate_except(lot, lot_flow)
        .scalar_subquery()
    )
    return col(HoldUnit.unit_id).in_(lots)


@lru_cache(maxsize=64)
def on_hold(unit_id: IdColumn) -> ColumnElement[bool]:
    """Tell in a statement whether a unit, or the lot it came from, has an open hold.

    `unit_id` is of the table of units or of any alias of it. Nearly every statement asks this, and
    putting it together took as long as running the statement.
    """
    holds = (
        select(col(HoldUnit.hold_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(HoldUnit.hold_id))
        .where(col(HoldRelease.hold_id).is_(None))
    )
    return is_held(unit_id, holds)


def is_held(unit_id: IdColumn, holds: AnySelect) -> ColumnElement[bool]:
    """Tell in a statement whether one of these holds names a unit, or the lot it came from.

    Asked one after the other: for a unit *or* its lot PostgreSQL looks through all the holds there
    are, for each unit.
    """
    holds = holds.correlate_except(HoldUnit, Hold, HoldRelease)
    return or_(
        exists(holds.where(col(HoldUnit.unit_id) == unit_id)),
        exists(holds.where(_names_its_lot(unit_id))),
    )


def parts_of(session: Session, target_id: int) -> Sequence[tuple[str, UnitKind, int]]:
    """Name what went into a unit: code, kind, grams, oldest first."""
    rows = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Flow.grams))
        .join(Flow, col(Flow.source_id) == col(Unit.id))
        .where(col(Flow.target_id) == target_id)
        .order_by(col(Unit.id))
    )
    return [(code, UnitKind(kind), grams) for code, kind, grams in rows]


def heavier_than_made(session: Session, unit_ids: Collection[int]) -> list[str]:
    """Point out units that have come to hold more than went into them.

    Bags that come back pass through their pack, which is none the heavier for it.
    """
    went_in = (
        select(func.sum(col(Flow.grams)))
        .where(col(Flow.target_id) == col(Unit.id))
        .scalar_subquery()
    )
    added = (
        select(func.sum(col(Adjustment.grams)))
        .where(col(Adjustment.unit_id) == col(Unit.id))
        .where(col(Adjustment.reason) != Reason.RETURNED)
        .scalar_subquery()
    )
    rows = session.execute(
        select(col(Unit.kind), col(Unit.code), col(Unit.made_g) + added, went_in)
        .where(among(session, col(Unit.id), unit_ids), col(Unit.made_g) + added > went_in)
        .order_by(col(Unit.id))
    )
    return [
        f"{kind} {code} comes to {kg_text(int(grams))} in all by this, more than the "
        f"{kg_text(int(source))} it was made of: weigh again."
        for kind, code, grams, source in rows
    ]


def made_of(session: Session, source_ids: Collection[int]) -> list[str]:
    """Name the live units that anything of these went into."""
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .where(among(session, col(Flow.source_id), source_ids))
        .where(col(Unit.voided_entry_id).is_(None))
    )
    among_themselves = set(source_ids)
    return sorted({code for unit_id, code in rows if unit_id not in among_themselves})


def journal_page(session: Session, page: Page) -> PageOf:
    """Read the journal, oldest first."""
    statement = select(
        col(Entry.id),
        col(Entry.kind),
        col(Entry.happened_at),
        col(Entry.recorded_at),
        col(Entry.who),
        col(Entry.reverses_id),
        col(Entry.sha256),
    )
    rows, following = turn_page(session, statement, col(Entry.id), page)
    return [
        {
            "id": row.id, "kind": row.kind, "happened_at": text(row.happened_at),
            "recorded_at": text(row.recorded_at), "who": row.who, "reverses": row.reverses_id,
            "sha256": row.sha256,
        }
        for row in rows
    ], following  # fmt: skip


def adjustment_page(session: Session, page: Page, code: str | None) -> PageOf:
    """Read adjustments, oldest first, of one unit or of all."""
    reversal = aliased(Adjustment)
    statement: AnySelect = (
        select(
            col(Adjustment.id),
            col(Unit.code),
            col(Unit.kind),
            col(Adjustment.grams),
            col(Adjustment.reason),
            col(Adjustment.note),
            col(Adjustment.reverses_id),
            col(reversal.id).label("reversed_by"),
            col(Entry.happened_at),
            col(Entry.who),
        )
        .join(Unit, col(Unit.id) == col(Adjustment.unit_id))
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .outerjoin(reversal, col(reversal.reverses_id) == col(Adjustment.id))
    )
    if code is not None:
        statement = statement.where(col(Unit.id) == unit_by_code(session, code).id)
    rows, following = turn_page(session, statement, col(Adjustment.id), page)
    return [
        {
            "id": row.id, "unit": row.code, "kind": row.kind, "kg": kg_from_grams(row.grams),
            "reason": row.reason, "note": row.note, "happened_at": text(row.happened_at),
            "who": row.who, "voided": row.reversed_by is not None, "reverses": row.reverses_id,
        }
        for row in rows
    ], following  # fmt: skip


def moments(session: Session, entry_ids: Collection[int]) -> Mapping[int, datetime]:
    """Tell when what these entries book happened."""
    rows = session.execute(
        select(col(Entry.id), col(Entry.happened_at)).where(
            among(session, col(Entry.id), entry_ids)
        )
    )
    return {row[0]: row[1] for row in rows}
