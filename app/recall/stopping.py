"""The stop: one act that holds everything of a case that is in the house.

Whoever writes holds the one pen, so what the scope is computed from here is all that was booked
before, and whatever is booked after meets the hold. Nothing slips between.
"""

from collections.abc import Collection, Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.actions import place_hold
from app.ledger.posting import Pen
from app.ledger.tables import HoldUnit, Unit, UnitKind
from app.ledger.then import newest_entry
from app.places.tables import Location
from app.recall.cases import Case, case_at, require, take_step
from app.recall.frozen import freeze, newest, scope_now
from app.recall.rules import Act, Step
from app.recall.schemas import StopIn, StopOut, StoppedUnit
from app.recall.scope import CONTACT, Scope, ScopeUnit
from app.recall.showing import consignees
from app.recall.tables import RecallNotice, RecallStop
from app.shared.db import among, next_number
from app.tracing.queries import CAUTION


def stop(pen: Pen, code: str, asked: StopIn) -> StopOut:
    """Hold what a case reaches now and no stop of it held before; a drill holds nothing.

    What is used up is held as well: a void could bring it back.
    """
    session = pen.session
    case = case_at(session, code)
    require(case, Act.STOP)
    contact = asked.possible_contact
    if contact is None:
        contact = pen.settings.recall_stops_contact
    at_entry = newest_entry(session)
    scope = scope_now(session, newest(session, case.row.id, code))
    before = _held_before(session, case)
    units = [unit for unit in _stoppable(scope, contact=contact) if unit.id not in before]
    said = {"recall": code, "drill": case.row.drill, "units": [unit.code for unit in units]}
    entry_id = pen.note("recall stopped", said)
    frozen = freeze(pen, case.row.id, scope, entry_id, at_entry)
    hold_id = _hold(pen, case, entry_id, units, asked.reason)
    pen.write(RecallStop, [{
        "id": next_number(session, col(RecallStop.id)), "case_id": case.row.id,
        "scope_id": frozen.id, "hold_id": hold_id, "possible_contact": contact,
        "entry_id": entry_id,
    }])  # fmt: skip
    case = take_step(pen, case, _after(session, case), entry_id, reason=asked.reason)
    there = [unit for unit in units if unit.left_g > 0]
    return StopOut(
        code=code,
        state=case.state,
        rehearsed=case.row.drill,
        hold=hold_id,
        held=_shown(session, there),
        held_units=len(units),
        held_g=sum(unit.left_g for unit in there),
        held_bags=sum(unit.bags_left or 0 for unit in there),
        held_before=len(before),
        left_the_house=consignees(scope.lines),
        scope=frozen.number,
        at_entry=at_entry,
        stopped_at=pen.now,
        stopped_by=pen.who,
        caution=CAUTION,
    )


def _stoppable(scope: Scope, *, contact: bool) -> Sequence[ScopeUnit]:
    return [
        unit
        for unit in scope.units
        if unit.kind != UnitKind.DISPATCH and (contact or unit.place != CONTACT)
    ]


def _held_before(session: Session, case: Case) -> set[int]:
    """Name what a stop of this case held before: if that was released, quality decided so."""
    rows = session.execute(
        select(col(HoldUnit.unit_id))
        .join(RecallStop, col(RecallStop.hold_id) == col(HoldUnit.hold_id))
        .where(col(RecallStop.case_id) == case.row.id)
    )
    return {row[0] for row in rows}


def _hold(
    pen: Pen, case: Case, entry_id: int, units: Sequence[ScopeUnit], reason: str | None
) -> int | None:
    if case.row.drill or not units:
        return None
    ids = [unit.id for unit in units]
    found = pen.session.scalars(
        select(Unit).where(among(pen.session, col(Unit.id), ids)).order_by(col(Unit.id))
    )
    said = f"recall {case.row.code}: {reason}" if reason else f"recall {case.row.code}"
    return place_hold(pen, entry_id, list(found), said[:2000]).id


def _after(session: Session, case: Case) -> Step:
    """Stopping anew while consignees are being told goes on with that."""
    told = session.scalar(
        select(col(RecallNotice.id)).where(col(RecallNotice.case_id) == case.row.id).limit(1)
    )
    if case.has_been(Step.STOPPED) and told is not None:
        return Step.WORKING_OFF
    return Step.STOPPED


def _shown(session: Session, units: Collection[ScopeUnit]) -> list[StoppedUnit]:
    rows = session.execute(
        select(col(Unit.id), col(Location.code))
        .join(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.id), [unit.id for unit in units]))
    )
    places = {row[0]: row[1] for row in rows}
    return [
        StoppedUnit(
            code=unit.code,
            kind=UnitKind(unit.kind),
            location=places.get(unit.id),
            left_g=unit.left_g,
            bags_left=unit.bags_left,
            possible_contact=unit.place == CONTACT,
        )
        for unit in units
    ]
