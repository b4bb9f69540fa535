"""Reading what a delivery note says of a dispatch."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.papers.case_labels import CaseFacts
from app.papers.layout import NoteCase, NoteFacts, NoteLine
from app.sending.bags import facts_of
from app.sending.cases.contents import case_by_code
from app.sending.cases.queries import case_out, look_at
from app.sending.cases.rules import CaseState
from app.sending.cases.tables import Case, DispatchCase
from app.sending.crates.stock import crates_with
from app.sending.orders.tables import CustomerOrder
from app.sending.tables import Customer, CustomerKind, Dispatch, DispatchLine
from app.settings import Settings
from app.shared.problems import Refused


def note_facts(session: Session, code: str, settings: Settings) -> NoteFacts:
    """Read a dispatch as its delivery note says it, as it left.

    Raises:
        Refused: `wrong-kind` for a sale over the counter, which has no consignee.
    """
    unit = unit_by_code(session, code, UnitKind.DISPATCH)
    sent, customer, entry, order = session.execute(
        select(Dispatch, Customer, Entry, col(CustomerOrder.code))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .join(Unit, col(Unit.id) == col(Dispatch.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(CustomerOrder, col(CustomerOrder.id) == col(Dispatch.order_id))
        .where(col(Dispatch.unit_id) == unit.id)
    ).one()
    if customer.kind == CustomerKind.CONSUMERS:
        raise Refused(
            "wrong-kind",
            f"{unit.code} went over the counter of {customer.name}: there is nobody to deliver to.",
            unit=unit.code,
        )
    return NoteFacts(
        code=unit.code,
        sender=settings.firm_name,
        sender_address=settings.firm_address,
        customer=customer.name,
        address=customer.address,
        dispatched_at=entry.happened_at,
        recorded_at=entry.recorded_at,
        reference=sent.reference,
        order=order,
        voided=unit.voided_entry_id is not None,
        lines=_lines(session, unit.id),
        cases=_cases(session, unit.id),
        crates=[(each.kind, each.count) for each in crates_with(session, [unit.id])],
    )


def _lines(session: Session, dispatch_id: int) -> list[NoteLine]:
    rows = session.execute(
        select(col(DispatchLine.pack_id), col(DispatchLine.bags), col(DispatchLine.grams))
        .where(col(DispatchLine.dispatch_id) == dispatch_id)
        .order_by(col(DispatchLine.pack_id))
    ).all()
    facts = facts_of(session, [pack_id for pack_id, _, _ in rows])
    return [
        NoteLine(
            facts[pack_id].product, facts[pack_id].sku, facts[pack_id].gtin,
            facts[pack_id].lot_mark, facts[pack_id].best_before, bags, grams,
        )
        for pack_id, bags, grams in rows
    ]  # fmt: skip


def _cases(session: Session, dispatch_id: int) -> list[NoteCase]:
    """Name every case that left, the ones on a pallet after it: each carries its own code."""
    cases = session.scalars(
        select(Case)
        .join(DispatchCase, col(DispatchCase.case_id) == col(Case.id))
        .where(col(DispatchCase.dispatch_id) == dispatch_id)
        .order_by(col(DispatchCase.named).desc(), col(Case.id))
    ).all()
    seen = look_at(session, [case.id for case in cases])
    return [
        NoteCase(case.code, case.kind, sum(seen.whole(case.id).values()), seen.grams(case.id))
        for case in cases
    ]


def case_facts(session: Session, code: str, settings: Settings) -> CaseFacts:
    """Read what the label of a case says.

    Raises:
        Refused: `case-state` for one that was taken apart.
    """
    case = case_out(session, code, settings)
    if case.state is CaseState.APART:
        raise Refused("case-state", f"{case.kind} {case.code} was taken apart.", case=case.code)
    seen = look_at(session, [case_by_code(session, code).id])
    marks = {facts.lot_mark for facts in seen.facts.values()}
    return CaseFacts(
        case.code, case.kind, case.bags, case.grams, tuple(sorted(marks)), case.packed_at,
        case.caution,
    )  # fmt: skip
