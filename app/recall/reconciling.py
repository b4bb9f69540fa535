"""The account of a recall: every bag that was made, and every bag that was sent."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeAlias

from sqlalchemy import Integer, Text, cast, func, literal, null, select, union_all
from sqlmodel import Session, col

from app.ledger.tables import Adjustment, Entry, Reason, UnitKind
from app.ledger.then import newest_entry
from app.recall.cases import Case, case_at
from app.recall.frozen import newest, scope_now
from app.recall.reports import (
    BagsOut,
    Effectiveness,
    ReconciliationOut,
    WorkedOff,
)
from app.recall.rules import Bags, Reported, Standing, part, recovered, standing
from app.recall.scope import CONTACT, Scope, ScopeLine
from app.recall.showing import Cards, by_customer, customers_by_id
from app.recall.tables import How, RecallAcknowledgement, RecallNotice, RecallReport
from app.sending.tables import Customer
from app.shared.db import AnySelect, among
from app.tracing.queries import CAUTION


def bags_of(session: Session, scope: Scope) -> Bags:
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
        destroyed_here=_destroyed(session, {u: scope.nominal_g.get(u, 0) for u in units}),
    )


def _destroyed(session: Session, nominal_g: Mapping[int, int]) -> int:
    bagged = {unit for unit, nominal in nominal_g.items() if nominal}
    rows = session.execute(
        select(col(Adjustment.unit_id), func.sum(col(Adjustment.grams)))
        .where(among(session, col(Adjustment.unit_id), bagged))
        .where(col(Adjustment.reason) == Reason.DESTROYED)
        .group_by(col(Adjustment.unit_id))
    )
    return sum(max(-int(grams), 0) // nominal_g[unit] for unit, grams in rows)


Written: TypeAlias = RecallNotice | RecallAcknowledgement | RecallReport
"""What is written of one consignee."""


@dataclass(frozen=True)
class Told:
    """What passed between the house and one consignee."""

    notices: int = 0
    first_notice_at: datetime | None = None
    last_how: How | None = None
    acknowledged_at: datetime | None = None
    report: Reported | None = None
    reported_at: datetime | None = None


def told_of(session: Session, case_id: int) -> Mapping[int, Told]:
    """Read what passed with every consignee of a case: the newest report is the one that counts."""
    found: dict[int, Told] = {}
    for what, customer, at, how, *bags in session.execute(_passed(case_id)):
        one = found.get(customer, Told())
        if what == "notice":
            one = replace(
                one, notices=one.notices + 1, first_notice_at=one.first_notice_at or at,
                last_how=How(how),
            )  # fmt: skip
        elif what == "acknowledgement":
            one = replace(one, acknowledged_at=min(one.acknowledged_at or at, at))
        else:
            one = replace(one, report=Reported(*bags), reported_at=at)
        found[customer] = one
    return found


def _passed(case_id: int) -> AnySelect:
    """Build what passed with consignees, each sort in the order it was booked."""
    bags = [
        col(RecallReport.held_bags), col(RecallReport.returned_bags),
        col(RecallReport.destroyed_bags), col(RecallReport.sold_bags),
        col(RecallReport.booked_back_bags),
    ]  # fmt: skip
    none = [cast(null(), Integer) for _ in bags]
    sorts: Mapping[str, tuple[type[Written], Any, Sequence[Any]]] = {
        "notice": (RecallNotice, cast(col(RecallNotice.how), Text), none),
        "acknowledgement": (RecallAcknowledgement, cast(null(), Text), none),
        "report": (RecallReport, cast(null(), Text), bags),
    }
    each = union_all(*(
        select(
            literal(what).label("what"), col(table.customer_id).label("customer_id"),
            col(table.entry_id).label("entry_id"), col(table.id).label("number"),
            how.label("how"), *(said.label(f"bags_{n}") for n, said in enumerate(reported)),
        ).where(col(table.case_id) == case_id)
        for what, (table, how, reported) in sorts.items()
    )).subquery()  # fmt: skip
    what, customer, entry, number, how, *said = each.c
    return (
        select(what, customer, col(Entry.happened_at), how, *said)
        .join(Entry, col(Entry.id) == entry)
        .order_by(what, number)
    )


def sent_to(lines: Sequence[ScopeLine]) -> tuple[int, int]:
    """Count the bags that one consignee was sent and the book took back."""
    reached = [line for line in lines if line.place != CONTACT]
    counted = reached or lines
    return sum(line.bags for line in counted), sum(line.returned_bags for line in counted)


def reconciliation(session: Session, code: str) -> ReconciliationOut:
    """Account for every bag of a case, as the book and the newest reports have it now."""
    case = case_at(session, code)
    return reconcile(session, case, scope_now(session, newest(session, case.row.id, code)))


def reconcile(
    session: Session, case: Case, scope: Scope, known: Cards | None = None
) -> ReconciliationOut:
    """Account for every bag of a scope; cards of customers that are known are not read again."""
    bags = bags_of(session, scope)
    told = told_of(session, case.row.id)
    gathered = by_customer(scope.lines)
    cards = customers_by_id(session, gathered.keys()) if known is None else known
    worked: list[tuple[WorkedOff, Standing]] = []
    for number, lines in gathered.items():
        passed = told.get(number, Told())
        where = standing(*sent_to(lines), passed.report)
        apart = all(line.place == CONTACT for line in lines)
        worked.append((_worked_off(cards[number], passed, where, apart=apart), where))
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


def _worked_off(card: Customer, told: Told, where: Standing, *, apart: bool) -> WorkedOff:
    return WorkedOff(
        customer=card.name,
        contact=card.contact,
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
