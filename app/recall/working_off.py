"""Working a case off: telling consignees, and taking down what they say became of their bags."""

from sqlalchemy import select
from sqlmodel import col

from app.ledger.cards import named
from app.ledger.posting import Pen
from app.recall.cases import Case, case_at, require, take_step
from app.recall.frozen import newest, scope_now, was_sent
from app.recall.reconciling import sent_to
from app.recall.reports import (
    AcknowledgementIn,
    AcknowledgementOut,
    NoticeIn,
    NoticeOut,
    ReportIn,
    ReportOut,
)
from app.recall.rules import Act, Reported, Step, standing
from app.recall.showing import by_customer
from app.recall.tables import RecallAcknowledgement, RecallNotice, RecallReport
from app.sending.actions import CUSTOMERS
from app.sending.tables import Customer
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused
from app.standards.recalls import NOTICE_SAYS
from app.tracing.queries import CAUTION


def notify(pen: Pen, code: str, asked: NoticeIn) -> NoticeOut:
    """Put on record that a consignee was told. A drill tells nobody."""
    case, customer = _consignee(pen, code, asked.customer)
    at = pen.moment(asked.sent_at, "#/sent_at")
    said = {"recall": code, "customer": customer.id, "how": asked.how}
    entry_id = pen.note("recall notice", said, at)
    row = RecallNotice(
        id=next_number(pen.session, col(RecallNotice.id)), case_id=case.row.id,
        customer_id=customer.id or 0, how=asked.how, note=asked.note, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    if case.state in {Step.STOPPED, Step.REOPENED}:
        case = take_step(pen, case, Step.WORKING_OFF, entry_id)
    return NoticeOut(
        id=row.id,
        recall=code,
        state=case.state,
        customer=customer.name,
        how=asked.how,
        note=asked.note,
        sent_at=at,
        sent_by=pen.who,
        says=list(NOTICE_SAYS),
        caution=CAUTION,
    )


def acknowledge(pen: Pen, code: str, asked: AcknowledgementIn) -> AcknowledgementOut:
    """Put on record that a consignee had the notice."""
    case, customer = _consignee(pen, code, asked.customer)
    at = pen.moment(asked.acknowledged_at, "#/acknowledged_at")
    told = pen.session.scalar(
        select(col(RecallNotice.id))
        .where(col(RecallNotice.case_id) == case.row.id)
        .where(col(RecallNotice.customer_id) == customer.id)
        .limit(1)
    )
    if told is None:
        raise FieldRefused("#/customer", f"{customer.name} was sent no notice of {code} yet")
    entry_id = pen.note("recall acknowledged", {"recall": code, "customer": customer.id}, at)
    row = RecallAcknowledgement(
        id=next_number(pen.session, col(RecallAcknowledgement.id)), case_id=case.row.id,
        customer_id=customer.id or 0, note=asked.note, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    return AcknowledgementOut(
        id=row.id,
        recall=code,
        customer=customer.name,
        note=asked.note,
        acknowledged_at=at,
        taken_by=pen.who,
        caution=CAUTION,
    )


def report(pen: Pen, code: str, asked: ReportIn) -> ReportOut:
    """Take down what a consignee says became of its bags; it replaces what it said before.

    Raises:
        Refused: `more-than-sent` when more bags are reported than went there.
    """
    case, customer = _consignee(pen, code, asked.customer)
    sent, returned = _bags_at(pen, case, customer)
    at = pen.moment(asked.reported_at, "#/reported_at")
    said = Reported(
        asked.held_bags, asked.returned_bags, asked.destroyed_bags, asked.sold_bags, returned
    )
    if said.whole > sent:
        raise Refused(
            "more-than-sent",
            f"{customer.name} was sent {sent} bags of {code}; {said.whole} are reported as held, "
            "returned, destroyed or sold.",
            sent_bags=sent,
            reported_bags=said.whole,
            returned_bags=returned,
        )
    counted = {name: getattr(said, name) for name in ("held", "returned", "destroyed", "sold")}
    entry_id = pen.note(
        "recall report", {"recall": code, "customer": customer.id, "bags": counted}, at
    )
    row = RecallReport(
        id=next_number(pen.session, col(RecallReport.id)), case_id=case.row.id,
        customer_id=customer.id or 0, held_bags=said.held, returned_bags=said.returned,
        destroyed_bags=said.destroyed, sold_bags=said.sold, booked_back_bags=returned,
        note=asked.note, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    where = standing(sent, returned, said)
    return ReportOut(
        id=row.id,
        recall=code,
        customer=customer.name,
        sent_bags=sent,
        returned_bags=returned,
        returned_as_reported_bags=said.returned,
        held_bags=where.held,
        destroyed_bags=where.destroyed,
        sold_bags=where.sold,
        unaccounted_bags=where.unaccounted,
        note=asked.note,
        reported_at=at,
        taken_by=pen.who,
        caution=CAUTION,
    )


def _consignee(pen: Pen, code: str, party: str | int) -> tuple[Case, Customer]:
    """Find who is meant; refuse where nobody may be told, and whom nothing was sent."""
    case = case_at(pen.session, code)
    if case.row.drill:
        raise Refused("drill", f"{code} is a drill: nobody is told, nobody reports.", recall=code)
    require(case, Act.NOTIFY)
    customer = named(pen.session, CUSTOMERS, party, "#/customer")
    assert customer.id is not None  # noqa: S101 - read from the database
    if was_sent(pen.session, case.row.id, customer.id):
        return case, customer
    _bags_at(pen, case, customer)  # a dispatch that was booked late is in no frozen scope
    return case, customer


def _bags_at(pen: Pen, case: Case, customer: Customer) -> tuple[int, int]:
    """Count the bags that a consignee was sent and the book took back, as of now."""
    code = case.row.code
    lines = by_customer(scope_now(pen.session, newest(pen.session, case.row.id, code)).lines)
    if customer.id is None or customer.id not in lines:
        raise FieldRefused("#/customer", f"{customer.name} was sent nothing that {code} reaches")
    return sent_to(lines[customer.id])
