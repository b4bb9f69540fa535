"""Freezing a scope: writing what was found at one entry, and reading it back as it was then."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.posting import Pen
from app.ledger.rules import canonical
from app.ledger.tables import Entry, Unit
from app.recall.scope import START, Scope, ScopeLine, ScopeUnit, scope_of
from app.recall.starts import KeptStart, StartIn, standing_of, start_units, start_units_now
from app.recall.tables import RecallScope, RecallScopeLine, RecallScopeUnit
from app.sending.tables import Customer
from app.shared.db import next_number
from app.shared.problems import Refused
from app.tracing.rules import FIGURES
from app.tracing.schemas import Direction

BALANCE = ("received", *FIGURES, "asked")
"""The figures of a balance in their order."""


@dataclass(frozen=True)
class Frozen:
    """A scope with what is known of its freezing."""

    id: int
    number: int
    at_entry: int
    frozen_at: datetime
    frozen_by: str
    scope: Scope


def first_scope(
    session: Session,
    start: StartIn,
    before: Sequence[StartIn] = (),
    direction: Direction = Direction.FORWARD,
) -> Scope:
    """Compute the scope of a start that is new, with all that the case started at before."""
    ids = {*start_units(session, [start]), *start_units_now(session, before)}
    return scope_of(session, [*before, start], sorted(ids), direction)


def scope_now(session: Session, frozen: Frozen) -> Scope:
    """Compute today's scope of everything a case started at."""
    scope = frozen.scope
    # What was named by its code, or was found standing at a place then, stays a start, whatever is
    # known of the place today.
    there = {unit.id: unit.voided for unit in scope.units if unit.place == START}
    wider = [start for start in scope.starts if start.units is None or start.behind is not None]
    ids = standing_of(session, there) | set(start_units_now(session, wider))
    return scope_of(session, scope.starts, sorted(ids), scope.direction)


def freeze(pen: Pen, case_id: int, scope: Scope, entry_id: int, at_entry: int) -> Frozen:
    """Write a scope as part of an entry that is written."""
    session = pen.session
    number = session.scalar(
        select(func.count()).select_from(RecallScope).where(col(RecallScope.case_id) == case_id)
    )
    frozen = Frozen(
        next_number(session, col(RecallScope.id)),
        (number or 0) + 1,
        at_entry,
        pen.now,
        pen.who,
        scope,
    )
    pen.write(RecallScope, [{
        "id": frozen.id, "case_id": case_id, "number": frozen.number,
        "direction": scope.direction, "starts": canonical([s.as_kept() for s in scope.starts]),
        "at_entry": at_entry, "balance": canonical(scope.balance), "entry_id": entry_id,
    }])  # fmt: skip
    pen.write(RecallScopeUnit, (
        {"scope_id": frozen.id, "unit_id": unit.id, "place": unit.place, "left_g": unit.left_g,
         "suspect_g": unit.suspect_g, "bags": unit.bags, "bags_left": unit.bags_left,
         "contact": canonical(unit.contact) if unit.contact else None}
        for unit in scope.units
    ))  # fmt: skip
    pen.write(RecallScopeLine, (
        {"scope_id": frozen.id, "dispatch_id": line.dispatch_id, "pack_id": line.pack_id,
         "customer_id": line.customer_id, "place": line.place, "bags": line.bags,
         "grams": line.grams, "suspect_g": line.suspect_g, "returned_bags": line.returned_bags}
        for line in scope.lines
    ))  # fmt: skip
    return frozen


def newest(session: Session, case_id: int, code: str) -> Frozen:
    """Read the newest forward scope of a case.

    Raises:
        Refused: `recall-state` where none was frozen yet.
    """
    row = session.execute(
        _frozen().where(col(RecallScope.case_id) == case_id)
        .where(col(RecallScope.direction) == Direction.FORWARD)
        .order_by(col(RecallScope.number).desc()).limit(1)
    ).first()  # fmt: skip
    if row is None:
        raise Refused("recall-state", f"Case {code} has no scope yet: say what it starts at.")
    return _read(session, row)[0]


def was_sent(session: Session, case_id: int, customer_id: int) -> bool:
    """Tell whether any frozen scope of a case had reached bags that a customer was sent."""
    line = session.scalar(
        select(col(RecallScopeLine.customer_id))
        .join(RecallScope, col(RecallScope.id) == col(RecallScopeLine.scope_id))
        .where(col(RecallScope.case_id) == case_id)
        .where(col(RecallScopeLine.customer_id) == customer_id)
        .limit(1)
    )
    return line is not None


def numbered(session: Session, case_id: int, code: str, number: int) -> Frozen:
    """Read one scope of a case."""
    row = session.execute(
        _frozen().where(col(RecallScope.case_id) == case_id, col(RecallScope.number) == number)
    ).first()
    if row is None:
        raise Refused("not-found", f"Case {code} has no scope {number}.")
    return _read(session, row)[0]


def all_of(session: Session, case_id: int) -> list[Frozen]:
    """Read every scope of a case, the first one first."""
    rows = session.execute(
        _frozen().where(col(RecallScope.case_id) == case_id).order_by(col(RecallScope.number))
    ).all()
    return _read(session, *rows)


def _frozen() -> Any:  # noqa: ANN401 - a select of a table and two columns
    return select(RecallScope, col(Entry.recorded_at), col(Entry.who)).join(
        Entry, col(Entry.id) == col(RecallScope.entry_id)
    )


def _read(session: Session, *rows: Any) -> list[Frozen]:  # noqa: ANN401 - rows of `_frozen`
    """Read the scopes of these rows whole: two statements, however many they are."""
    ids = [row[0].id for row in rows]
    units, lines = _units(session, ids), _lines(session, ids)
    return [_frozen_of(row, units[row[0].id], lines[row[0].id]) for row in rows]


def _frozen_of(
    row: Any,  # noqa: ANN401 - a row of `_frozen`
    units: Sequence[ScopeUnit],
    lines: Sequence[ScopeLine],
) -> Frozen:
    kept: RecallScope = row[0]
    starts = [KeptStart.model_validate(each) for each in json.loads(kept.starts)]
    kept_g: Mapping[str, int] = json.loads(kept.balance)
    balance = {name: kept_g[name] for name in BALANCE if name in kept_g}
    scope = Scope(Direction(kept.direction), starts, units, lines, balance)
    return Frozen(kept.id, kept.number, kept.at_entry, row.recorded_at, row.who, scope)


def _units(session: Session, scope_ids: Sequence[int]) -> Mapping[int, list[ScopeUnit]]:
    rows = session.connection().execute(
        select(
            col(Unit.id), col(Unit.code), col(Unit.kind), col(RecallScopeUnit.place),
            col(Unit.made_g), col(RecallScopeUnit.left_g), col(RecallScopeUnit.suspect_g),
            col(RecallScopeUnit.bags), col(RecallScopeUnit.bags_left),
            col(Unit.voided_entry_id).is_not(None), col(RecallScopeUnit.contact),
            col(RecallScopeUnit.scope_id),
        )
        .join(RecallScopeUnit, col(RecallScopeUnit.unit_id) == col(Unit.id))
        .where(col(RecallScopeUnit.scope_id).in_(scope_ids))
        .order_by(col(Unit.id))
    )  # fmt: skip
    found: defaultdict[int, list[ScopeUnit]] = defaultdict(list)
    for *said, voided, beside, scope_id in rows:
        contact = json.loads(beside) if beside else None
        found[scope_id].append(ScopeUnit._make([*said, contact, False, 0, bool(voided)]))
    return found


def _lines(session: Session, scope_ids: Sequence[int]) -> Mapping[int, list[ScopeLine]]:
    rows = session.connection().execute(
        select(
            col(RecallScopeLine.dispatch_id), col(Unit.code), col(Entry.happened_at),
            col(RecallScopeLine.pack_id), col(RecallScopeLine.customer_id), col(Customer.name),
            col(Customer.contact), col(RecallScopeLine.place), col(RecallScopeLine.bags),
            col(RecallScopeLine.grams), col(RecallScopeLine.suspect_g),
            col(RecallScopeLine.returned_bags), col(RecallScopeLine.scope_id),
        )
        .join(Customer, col(Customer.id) == col(RecallScopeLine.customer_id))
        .join(Unit, col(Unit.id) == col(RecallScopeLine.dispatch_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(RecallScopeLine.scope_id).in_(scope_ids))
        .order_by(col(RecallScopeLine.dispatch_id), col(RecallScopeLine.pack_id))
    )  # fmt: skip
    found: defaultdict[int, list[ScopeLine]] = defaultdict(list)
    for *said, scope_id in rows:
        found[scope_id].append(ScopeLine(*said))
    return found
