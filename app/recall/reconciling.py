"""The account of a recall: every bag that was made, and every bag that was sent."""

from collections.abc import Iterable, Sequence

from sqlmodel import Session

from app.ledger.tables import UnitKind
from app.ledger.then import newest_entry
from app.recall.cases import Case, case_at
from app.recall.frozen import newest, scope_now
from app.recall.reports import (
    BagsOut,
    Effectiveness,
    ReconciliationOut,
    WorkedOff,
)
from app.recall.rules import Bags, Standing, part, recovered, standing
from app.recall.scope import CONTACT, Scope, ScopeLine
from app.recall.showing import by_customer
from app.recall.written import Told, Written, told_of, written_of
from app.tracing.queries import CAUTION


def bags_of(scope: Scope) -> Bags:
    """Add up the bags of a scope as the book has them now.

    A dispatch or a return that the case starts at brings its bags in: they count as made.
    """
    units = {unit.id: unit for unit in scope.units if unit.place != CONTACT}
    lines = [line for line in scope.lines if line.place != CONTACT]
    returned = sum(line.returned_bags for line in lines)
    packs = sum(unit.bags or 0 for unit in units.values() if unit.kind == UnitKind.PACK)
    foreign = sum(line.bags for line in lines if line.pack_id not in units)
    back = sum(unit.bags or 0 for unit in units.values() if unit.kind == UnitKind.RETURN)
    return Bags(
        made=packs + foreign + (back - returned),
        in_house=sum(unit.bags_left or 0 for unit in units.values()),
        sent=sum(line.bags for line in lines),
        returned=returned,
        destroyed_here=sum(unit.destroyed for unit in units.values()),
    )


def sent_to(lines: Sequence[ScopeLine]) -> tuple[int, int]:
    """Count the bags that one consignee was sent and the book took back."""
    reached = [line for line in lines if line.place != CONTACT]
    counted = reached or lines
    return sum(line.bags for line in counted), sum(line.returned_bags for line in counted)


def reconciliation(session: Session, code: str) -> ReconciliationOut:
    """Account for every bag of a case, as the book and the newest reports have it now."""
    case = case_at(session, code)
    now = scope_now(session, newest(session, case.row.id, code))
    return reconcile(session, case, now, written_of(session, case.row.id))


def reconcile(
    session: Session, case: Case, scope: Scope, written: Iterable[Written]
) -> ReconciliationOut:
    """Account for every bag of a scope."""
    bags = bags_of(scope)
    told = told_of(written)
    gathered = by_customer(scope.lines)
    worked: list[tuple[WorkedOff, Standing]] = []
    for number, lines in gathered.items():
        passed = told.get(number, Told())
        where = standing(*sent_to(lines), passed.report)
        apart = all(line.place == CONTACT for line in lines)
        worked.append((_worked_off(lines[0], passed, where, apart=apart), where))
    worked.sort(key=lambda each: (each[0].possible_contact, each[0].customer.casefold()))
    main = [each for each in worked if not each[0].possible_contact]
    return ReconciliationOut(
        code=case.row.code,
        state=case.state,
        at_entry=newest_entry(session),
        bags=BagsOut(
            made_bags=bags.made,
            in_house_bags=bags.in_house,
            sent_bags=bags.sent,
            returned_bags=bags.returned,
            in_market_bags=bags.in_market,
            destroyed_here_bags=bags.destroyed_here,
            adjusted_bags=bags.adjusted,
        ),
        effectiveness=_effectiveness(bags, main),
        consignees=[each for each, _ in worked],
        closes=_closes(bags, [where for _, where in main]),
        caution=CAUTION,
    )


def _closes(bags: Bags, standings: Sequence[Standing]) -> bool:
    """Tell whether what consignees have adds up to what is in the market."""
    there = sum(each.sent - each.returned for each in standings)
    return there == bags.in_market and all(each.unaccounted >= 0 for each in standings)


def _worked_off(sent: ScopeLine, told: Told, where: Standing, *, apart: bool) -> WorkedOff:
    return WorkedOff(
        customer=sent.customer,
        contact=sent.contact,
        possible_contact=apart,
        notices=told.notices,
        first_notice_at=told.first_notice_at,
        last_notice_how=told.last_how,
        acknowledged_at=told.acknowledged_at,
        sent_bags=where.sent,
        returned_bags=where.returned,
        held_bags=where.held,
        destroyed_bags=where.destroyed,
        sold_bags=where.sold,
        unaccounted_bags=where.unaccounted,
        returned_as_reported_bags=told.report.returned if told.report else None,
        reported_at=told.reported_at,
        recovered_pct=part(where.returned + where.held + where.destroyed, where.sent),
    )


def _effectiveness(bags: Bags, worked: Sequence[tuple[WorkedOff, Standing]]) -> Effectiveness:
    standings = [where for _, where in worked]
    notified = [each for each, _ in worked if each.notices]
    acknowledged = [each for each in notified if each.acknowledged_at is not None]
    there = recovered(bags, standings)
    unaccounted = sum(where.unaccounted for where in standings)
    return Effectiveness(
        consignees=len(worked),
        with_contact=sum(1 for each, _ in worked if each.contact),
        notified=len(notified),
        acknowledged=len(acknowledged),
        reported=sum(1 for each, _ in worked if each.reported_at is not None),
        coverage_pct=part(len(notified), len(worked)),
        acknowledged_pct=part(len(acknowledged), len(notified)),
        recovered_bags=there,
        recovery_pct=part(there, bags.made),
        returned_pct=part(bags.returned, bags.sent),
        unaccounted_bags=unaccounted,
        unaccounted_pct=part(unaccounted, bags.sent),
    )
