"""Reading what is in cases, at any time, and which bags stand in one."""

from collections import Counter
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import bindparam, exists, func, select
from sqlmodel import Session, col

from app.ledger.tables import Entry, Unit
from app.sending.cases.rules import Contents, add_up
from app.sending.cases.tables import Case, CaseChange, CaseLine, DispatchCase
from app.shared.db import AnySelect, among
from app.shared.problems import Refused
from app.standards.sscc import has_its_form, is_sscc

_LIVE = col(Unit.voided_entry_id).is_(None)

# Built once: putting a statement together takes several times as long as running it, and every
# dispatch asks this.
_CASED = (
    select(col(CaseLine.pack_id), func.sum(col(CaseLine.count)))
    .join(CaseChange, col(CaseChange.id) == col(CaseLine.change_id))
    .where(col(CaseLine.pack_id).in_(bindparam("packs", expanding=True)))
    .where(
        ~exists(
            select(col(DispatchCase.case_id))
            .join(Unit, col(Unit.id) == col(DispatchCase.dispatch_id))
            .where(col(DispatchCase.case_id) == col(CaseChange.case_id), _LIVE)
            .where(col(Unit.id).not_in(bindparam("gone", expanding=True)))
        )
    )
    .group_by(col(CaseLine.pack_id))
)


def cased_bags(
    session: Session, pack_ids: Collection[int], gone: Collection[int] = ()
) -> Counter[int]:
    """Count the bags of packs that stand in cases here, as if dispatches had never been."""
    rows = session.execute(_CASED, {"packs": list(pack_ids), "gone": list(gone)})
    return Counter({pack_id: int(bags) for pack_id, bags in rows if bags})


def case_by_code(session: Session, code: str) -> Case:
    """Find a case, or say whether its code was misread or never given."""
    return cases_by_code(session, [code])[code]


def cases_by_code(session: Session, codes: Collection[str]) -> dict[str, Case]:
    """Find many cases at once, as `case_by_code` does one."""
    found = {
        case.code: case
        for case in session.scalars(select(Case).where(col(Case.code).in_(list(codes))))
    }
    for code in codes:
        if code not in found:
            raise _unknown(code)
    return found


def _unknown(code: str) -> Refused:
    if has_its_form(code) and not is_sscc(code):
        return Refused(
            "misread-code", f"{code} was misread: its check digit does not fit.", code=code
        )
    return Refused("unknown-code", f"No case or pallet has the code {code}.", code=code)


def _lines(session: Session, case_ids: Collection[int], at: datetime | None) -> AnySelect:
    statement: AnySelect = (
        select(
            col(CaseChange.case_id),
            col(CaseLine.pack_id),
            col(CaseLine.inner_id),
            col(CaseLine.count),
        )
        .join(CaseChange, col(CaseChange.id) == col(CaseLine.change_id))
        .where(among(session, col(CaseChange.case_id), case_ids))
        .order_by(col(CaseLine.change_id), col(CaseLine.number))
    )
    if at is not None:
        entry = select(col(Entry.id)).where(col(Entry.happened_at) <= at)
        statement = statement.where(col(CaseChange.entry_id).in_(entry))
    return statement


def contents_of(
    session: Session, case_ids: Collection[int], at: datetime | None = None
) -> dict[int, Contents]:
    """Read what is in each case itself, now or at a time."""
    rows = session.execute(_lines(session, case_ids, at))
    return add_up((row[0], row[1], row[2], row[3]) for row in rows) if case_ids else {}


def pallets_of(
    session: Session, case_ids: Collection[int], at: datetime | None = None
) -> Mapping[int, str]:
    """Name the pallet that each case stands on, now or at a time."""
    statement: AnySelect = (
        select(col(CaseLine.inner_id), col(Case.code))
        .join(CaseChange, col(CaseChange.id) == col(CaseLine.change_id))
        .join(Case, col(Case.id) == col(CaseChange.case_id))
        .where(among(session, col(CaseLine.inner_id), case_ids))
        .group_by(col(CaseLine.inner_id), col(Case.code))
        .having(func.sum(col(CaseLine.count)) > 0)
    )
    if at is not None:
        statement = statement.join(Entry, col(Entry.id) == col(CaseChange.entry_id)).where(
            col(Entry.happened_at) <= at
        )
    return {row[0]: row[1] for row in session.execute(statement)}


class Left(NamedTuple):
    """With which dispatch a case left, and when."""

    dispatch: str
    dispatch_id: int
    at: datetime


def departures(
    session: Session, case_ids: Collection[int], at: datetime | None = None
) -> Mapping[int, Left]:
    """Tell which cases left, with a dispatch that still counts."""
    statement: AnySelect = (
        select(col(DispatchCase.case_id), col(Unit.code), col(Unit.id), col(Entry.happened_at))
        .join(Unit, col(Unit.id) == col(DispatchCase.dispatch_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(DispatchCase.case_id), case_ids), _LIVE)
    )
    if at is not None:
        statement = statement.where(col(Entry.happened_at) <= at)
    return {row[0]: Left(row[1], row[2], row[3]) for row in session.execute(statement)}


def last_changes(session: Session, case_ids: Collection[int]) -> Mapping[int, datetime]:
    """Tell when what is in each case changed last."""
    rows = session.execute(
        select(col(CaseChange.case_id), func.max(col(Entry.happened_at)))
        .join(Entry, col(Entry.id) == col(CaseChange.entry_id))
        .where(among(session, col(CaseChange.case_id), case_ids))
        .group_by(col(CaseChange.case_id))
    )
    return {row[0]: row[1] for row in rows}
