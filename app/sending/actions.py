"""Sending bags to customers and taking them back."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.actions import place_hold
from app.ledger.cards import Shelf, named
from app.ledger.corrections.replacing import happened, in_place_of
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Reason, Unit, UnitKind
from app.places.successors import post
from app.sending.cases.naming import CaseNamed
from app.sending.cases.standing import leaving, record_leaving
from app.sending.crates.stock import look_up, write_moves
from app.sending.crates.tables import CrateAct
from app.sending.free import NO_PICK
from app.sending.loading import Filled, Sending, filled_bags, load_of, send
from app.sending.orders.filling import beyond_the_order
from app.sending.picking.ending import end_by, order_for, pick_for
from app.sending.schemas import (
    BagsIn,
    CustomerOut,
    DispatchIn,
    DispatchOut,
    ReturnedBags,
    ReturnIn,
    ReturnOut,
)
from app.sending.tables import Customer, CustomerKind, Dispatch, DispatchLine, Returned
from app.shared.problems import FieldRefused, Refused

CUSTOMERS = Shelf(
    "customer", Customer, CustomerOut, key="name", folded="name_key",
    private=frozenset({"contact", "address"}),
)  # fmt: skip


def dispatch(pen: Pen, asked: DispatchIn) -> DispatchOut:
    """Send bags to a customer, loose and in cases that leave whole.

    Raises:
        Refused: `not-free`, `case-state`, `crates-short`, and what posting refuses.
    """
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    refuse_consumers(customer)
    at = happened(pen, asked, asked.dispatched_at, "#/dispatched_at")
    posting = Posting("dispatch", at, asked.model_dump(mode="json"))
    gone = in_place_of(pen, posting, asked, UnitKind.DISPATCH).voided
    pick = pick_for(pen.session, asked.pick, customer, gone)
    order = order_for(pen.session, asked.order, pick, customer, gone)
    named_cases = [line.case for line in asked.lines if isinstance(line, CaseNamed)]
    cases = leaving(pen.session, named_cases, at, gone)
    loose = {line.pack: line.bags for line in asked.lines if isinstance(line, BagsIn)}
    load = load_of(pen, posting, loose, cases, pick.id if pick else NO_PICK)
    crates = look_up(pen.session, asked.crates, customer, CrateAct.OUT, gone)
    warnings = beyond_the_order(pen.session, order, load.by_product(), gone) if order else []
    born = send(pen, posting, Sending(asked.code, customer, asked.reference, order, warnings), load)
    entry_id = pen.entry_id or 0
    record_leaving(pen, cases, born.id)
    end_by(pen, pick, born.id, entry_id)
    return DispatchOut(
        code=born.code,
        customer=customer.name,
        order=order.code if order else None,
        reference=asked.reference,
        dispatched_at=at,
        grams=born.made_g,
        left_g=born.made_g,
        voided=False,
        lines=load.lines,
        cases=[case.code for case in cases.named],
        crates=write_moves(pen, crates, customer, CrateAct.OUT, entry_id, born.id),
        pick=asked.pick,
        returns=[],
        warnings=warnings,
    )


def refuse_consumers(customer: Customer) -> None:
    """Refuse to dispatch to a counter: what goes over it is a sale of its day."""
    if customer.kind == CustomerKind.CONSUMERS:
        raise FieldRefused(
            "#/customer",
            f"{customer.name} sells to consumers: book what went over the counter at POST /sales",
        )


def take_back(pen: Pen, asked: ReturnIn) -> ReturnOut:
    """Take bags back from a customer: off the dispatch, into a return of their own, on hold."""
    unit = live(unit_by_code(pen.session, asked.dispatch, UnitKind.DISPATCH))
    at = happened(pen, asked, asked.returned_at, "#/returned_at")
    bags = filled_bags(pen.session, [line.pack for line in asked.lines])
    sent = pen.session.get_one(Dispatch, unit.id)
    customer = pen.session.get_one(Customer, sent.customer_id)
    posting = Posting("return", at, asked.model_dump(mode="json"), despite_holds=True)
    in_place_of(pen, posting, asked, UnitKind.RETURN)
    births = []
    for number, line in enumerate(asked.lines):
        filled = bags[line.pack]
        _refuse_surplus(pen.session, unit, filled, line.bags, posting.voided)
        births.append(_bear_return(pen, posting, asked, number, filled))
        posting.adjust(unit.id, -births[-1].made_g, Reason.RETURNED)
        posting.adjust(filled.unit.id, births[-1].made_g, Reason.RETURNED)
        posting.flow(filled.unit.id, births[-1], births[-1].made_g)
    crates = look_up(pen.session, asked.crates, customer, CrateAct.BACK, posting.voided)
    entry_id = post(pen, posting)
    lines = list(zip(births, asked.lines, strict=True))
    pen.write(Returned, [
        {"unit_id": birth.id, "dispatch_id": unit.id, "pack_id": bags[line.pack].unit.id,
         "product_id": bags[line.pack].product_id, "bags": line.bags,
         "nominal_g": bags[line.pack].nominal_g, "reason": asked.reason}
        for birth, line in lines
    ])  # fmt: skip
    units = [pen.session.get_one(Unit, birth.id) for birth in births]
    held = place_hold(pen, entry_id, units, f"returned: {asked.reason}"[:2000])
    return ReturnOut(
        code=births[0].code,
        dispatch=unit.code,
        customer=customer.name,
        reason=asked.reason,
        returned_at=at,
        grams=sum(birth.made_g for birth in births),
        held=True,
        hold=held.id,
        lines=[
            ReturnedBags(
                code=birth.code,
                pack=line.pack,
                product=bags[line.pack].sku,
                bags=line.bags,
                grams=birth.made_g,
            )
            for birth, line in lines
        ],
        crates=write_moves(pen, crates, customer, CrateAct.BACK, entry_id, births[0].id),
    )


def _bear_return(pen: Pen, posting: Posting, asked: ReturnIn, number: int, filled: Filled) -> Birth:
    """Let the bags of one line be born as a unit; a given code names the first line's."""
    code = asked.code if number == 0 else None
    grams = asked.lines[number].bags * filled.nominal_g
    return pen.bear(posting, UnitKind.RETURN, code, grams)


def _refuse_surplus(
    session: Session, dispatch: Unit, filled: Filled, bags: int, voided: Sequence[int]
) -> None:
    """Refuse more bags than went out and have not come back; what is voided with it did not."""
    pack = filled.unit
    sent = session.scalar(
        select(col(DispatchLine.bags)).where(
            col(DispatchLine.dispatch_id) == dispatch.id, col(DispatchLine.pack_id) == pack.id
        )
    )
    if sent is None:
        raise Refused(
            "wrong-kind",
            f"Dispatch {dispatch.code} had no bags of {pack.code}.",
            unit=dispatch.code,
            pack=pack.code,
        )
    back = session.scalar(
        select(func.coalesce(func.sum(col(Returned.bags)), 0))
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(col(Returned.dispatch_id) == dispatch.id, col(Returned.pack_id) == pack.id)
        .where(col(Unit.voided_entry_id).is_(None), col(Unit.id).not_in(voided))
    )
    out = int(sent) - int(back or 0)
    if bags > out:
        raise Refused(
            "insufficient-stock",
            f"Of dispatch {dispatch.code} {out} bags of {pack.code} are still out; "
            f"{bags} cannot come back.",
            unit=dispatch.code,
            pack=pack.code,
            asked_bags=bags,
            left_bags=out,
        )
