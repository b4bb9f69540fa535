"""A frozen scope beside today's: what came in since, what dropped out, what left the house."""

from collections.abc import Mapping
from typing import Final

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.tables import Unit, UnitKind
from app.ledger.then import newest_entry
from app.recall.cases import case_at
from app.recall.frozen import newest, scope_now
from app.recall.schemas import (
    ChangedUnit,
    ChangesOut,
    GoneUnit,
    ReturnedSince,
    SentLine,
)
from app.recall.scope import Scope, ScopeLine
from app.recall.showing import scoped
from app.shared.db import among
from app.tracing.queries import CAUTION

Sent = tuple[int, int]
"""Dispatch and pack."""

_IN_HOUSE: Final = frozenset(UnitKind) - {UnitKind.DISPATCH}


def changes(session: Session, code: str) -> ChangesOut:
    """Compare the newest frozen scope of a case with today's."""
    case = case_at(session, code)
    frozen = newest(session, case.row.id, code)
    then, now = frozen.scope, scope_now(session, frozen)
    sent, returned = _since(then, now)
    before = {unit.id: unit for unit in then.units}
    there = {unit.id: unit for unit in now.units}
    came = [scoped(unit) for unit in now.units if unit.id not in before]
    gone = _gone(session, {unit: before[unit].code for unit in before.keys() - there.keys()})
    changed = [
        ChangedUnit(
            code=unit.code, kind=UnitKind(unit.kind), left_then_g=before[unit.id].left_g,
            left_now_g=unit.left_g,
        )
        for unit in now.units
        if unit.id in before and unit.left_g != before[unit.id].left_g
        if unit.kind in _IN_HOUSE
    ]  # fmt: skip
    return ChangesOut(
        code=case.row.code,
        scope=frozen.number,
        frozen_at=frozen.frozen_at,
        frozen_at_entry=frozen.at_entry,
        now_at_entry=newest_entry(session),
        same=not (came or gone or changed or sent or returned),
        came_in=came,
        dropped_out=gone,
        changed=changed,
        sent_since=sent,
        returned_since=returned,
        not_held=[unit.code for unit in now.units if unit.free],
        caution=CAUTION,
    )


def _gone(session: Session, codes: Mapping[int, str]) -> list[GoneUnit]:
    rows = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Unit.voided_entry_id))
        .where(among(session, col(Unit.id), codes.keys()))
        .order_by(col(Unit.id))
    )
    return [
        GoneUnit(code=code, kind=UnitKind(kind), voided=voided is not None)
        for code, kind, voided in rows
    ]


def _since(then: Scope, now: Scope) -> tuple[list[SentLine], list[ReturnedSince]]:
    before: dict[Sent, ScopeLine] = {(each.dispatch_id, each.pack_id): each for each in then.lines}
    sent, returned = [], []
    for line in now.lines:
        known = before.get((line.dispatch_id, line.pack_id))
        if known is None:
            sent.append(SentLine(
                customer=line.customer, contact=line.contact, dispatch=line.dispatch,
                dispatched_at=line.dispatched_at, bags=line.bags, grams=line.grams,
            ))  # fmt: skip
        back = line.returned_bags - (known.returned_bags if known else 0)
        if back > 0:
            returned.append(
                ReturnedSince(customer=line.customer, dispatch=line.dispatch, bags=back)
            )
    return sent, returned
