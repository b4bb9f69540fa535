"""What voiding a unit would take with it: looked at before it is done."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.labels.tables import LabelLine
from app.ledger.corrections.queries import replaced_by
from app.ledger.corrections.tables import ActVoid
from app.ledger.corrections.voiding import dependants, goes_with, refuse_dependants, undo
from app.ledger.posting import Posting
from app.ledger.queries import unit_by_code
from app.ledger.tables import Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.packing.weighing.tables import CheckWeighing
from app.sending.tables import Customer, Dispatch, DispatchLine
from app.shared.db import among
from app.shared.problems import Refused
from app.shared.times import now
from app.tracing.reached import Reached, read_units
from app.tracing.schemas import DependantOut, ImpactOut, OpenHold, SentTo, VerdictOut


def impact(session: Session, code: str) -> ImpactOut:
    """List what was made from a unit, who has it, and what a void would give back."""
    unit = unit_by_code(session, code)
    together, plain = _together(session, unit)
    made = dependants(session, together)
    ids = [each.id for each in made]
    everything = [each.id for each in (*together, *made)]
    sent = _sent(session, everything)
    whole = plain
    given: dict[str, int] = {}
    if plain.accepted:
        plain = _verdict(lambda: refuse_dependants(session, together))
        whole, given = _given_back(session, unit, [*together, *made])
        if plain.accepted:
            plain = whole
    return ImpactOut(
        code=unit.code,
        kind=unit.kind,
        voided=unit.voided_entry_id is not None,
        replaced_by=replaced_by(session, unit.id) if unit.voided_entry_id is not None else None,
        goes_with=[each.code for each in together if each.id != unit.id],
        plain_void=plain,
        void_with=whole,
        dependants=[each.code for each in made],
        units=_units(session, ids, sent),
        given_back=given,
        customers=_customers(sent.values()),
        holds=_holds(session, everything),
    )


def _together(session: Session, unit: Unit) -> tuple[list[Unit], VerdictOut]:
    """Name what would go with a unit, or itself alone and why it cannot go."""
    found = [unit]

    def look() -> None:
        found[:] = goes_with(session, unit)

    verdict = _verdict(look)
    return found, verdict


def _verdict(rule: Callable[[], object]) -> VerdictOut:
    try:
        rule()
    except Refused as refusal:
        return VerdictOut(accepted=False, problem=refusal.slug, detail=refusal.detail)
    return VerdictOut(accepted=True, problem=None, detail=None)


def _given_back(
    session: Session, unit: Unit, doomed: Sequence[Unit]
) -> tuple[VerdictOut, dict[str, int]]:
    """Tell whether all of it could be voided together, and what that would give back."""
    given: dict[str, int] = {}
    posting = Posting("void", now(), {"unit": unit.code})  # never posted

    def look() -> None:
        given.update(undo(session, posting, doomed, "looked at"))

    verdict = _verdict(look)
    return verdict, given


def _units(session: Session, ids: Sequence[int], sent: Mapping[int, Any]) -> list[DependantOut]:
    """Show dependants in the order in which they would have to be voided."""
    found = {each.id: each for each in read_units(session, ids)}
    records = _records(session, ids)
    return [_unit(found[each], sent.get(each), *records[each]) for each in ids]


def _unit(each: Reached, sent: Any, weighed: int, labels: int) -> DependantOut:  # noqa: ANN401 - a row of `_sent`
    return DependantOut(
        code=each.code,
        kind=UnitKind(each.kind),
        made_g=each.made_g,
        left_g=each.left_g,
        happened_at=each.happened_at,
        recorded_at=each.recorded_at,
        location=each.location,
        held=each.held,
        customer=sent.name if sent else None,
        bags=int(sent.bags) if sent else None,
        check_weighings=weighed,
        labels=labels,
    )


def _sent(session: Session, ids: Collection[int]) -> Mapping[int, Any]:
    """Add up what each dispatch took to whom."""
    rows = session.execute(
        select(
            col(Dispatch.unit_id),
            col(Unit.code),
            col(Customer.id),
            col(Customer.name),
            col(Customer.contact),
            func.sum(col(DispatchLine.bags)).label("bags"),
            func.sum(col(DispatchLine.grams)).label("grams"),
        )
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .join(DispatchLine, col(DispatchLine.dispatch_id) == col(Dispatch.unit_id))
        .where(among(session, col(Dispatch.unit_id), ids))
        .join(Unit, col(Unit.id) == col(Dispatch.unit_id))
        .group_by(
            col(Dispatch.unit_id),
            col(Unit.code),
            col(Customer.id),
            col(Customer.name),
            col(Customer.contact),
        )
        .order_by(col(Dispatch.unit_id))
    )
    return {row.unit_id: row for row in rows}


def _records(session: Session, ids: Collection[int]) -> Mapping[int, tuple[int, int]]:
    """Count the check weighings of each unit that stand, and its labels."""
    weighed = (
        select(func.count(col(CheckWeighing.id)))
        .outerjoin(ActVoid, col(ActVoid.check_weighing_id) == col(CheckWeighing.id))
        .where(col(CheckWeighing.pack_id) == col(Unit.id), col(ActVoid.entry_id).is_(None))
        .correlate(Unit)
        .scalar_subquery()
    )
    labels = (
        select(func.count())
        .select_from(LabelLine)
        .where(col(LabelLine.unit_id) == col(Unit.id))
        .correlate(Unit)
        .scalar_subquery()
    )
    rows = session.execute(
        select(col(Unit.id), weighed, labels).where(among(session, col(Unit.id), ids))
    )
    return {row[0]: (row[1], row[2]) for row in rows}


def _customers(sent: Iterable[Any]) -> list[SentTo]:
    """Add up by customer what left in dispatches."""
    found: dict[int, SentTo] = {}
    for row in sent:
        known = found.setdefault(
            row.id,
            SentTo(customer=row.name, contact=row.contact, dispatches=[], bags=0, grams=0),
        )
        known.dispatches.append(row.code)
        known.bags += int(row.bags)
        known.grams += int(row.grams)
    return sorted(found.values(), key=lambda each: each.customer.casefold())


def _holds(session: Session, ids: Collection[int]) -> list[OpenHold]:
    """Name the open holds on these units: they stay, on units that are no more."""
    rows = session.execute(
        select(col(Hold.id), col(Hold.reason), col(Unit.code))
        .join(HoldUnit, col(HoldUnit.hold_id) == col(Hold.id))
        .join(Unit, col(Unit.id) == col(HoldUnit.unit_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .where(among(session, col(HoldUnit.unit_id), ids), col(HoldRelease.hold_id).is_(None))
        .order_by(col(Hold.id), col(Unit.id))
    )
    found: dict[int, OpenHold] = {}
    for hold_id, reason, code in rows:
        known = found.setdefault(hold_id, OpenHold(id=hold_id, reason=reason, units=[]))
        known.units.append(code)
    return list(found.values())
