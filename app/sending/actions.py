"""Sending bags to customers and taking them back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import bindparam, func, select
from sqlmodel import Session, col

from app.ledger.actions import place_hold
from app.ledger.cards import Shelf, named
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, unit_by_code, units_by_code
from app.ledger.tables import Reason, Unit, UnitKind
from app.packing.tables import Pack, Product
from app.sending.cases.naming import CaseNamed
from app.sending.cases.standing import Leaving, leaving, record_leaving
from app.sending.crates.stock import look_up, write_moves
from app.sending.crates.tables import CrateAct
from app.sending.free import NO_PICK, Wanted, refuse_unfree
from app.sending.picking.ending import end_by, pick_for
from app.sending.schemas import (
    BagsIn,
    BagsOut,
    CustomerOut,
    DispatchIn,
    DispatchOut,
    ReturnedBags,
    ReturnIn,
    ReturnOut,
)
from app.sending.tables import Customer, CustomerKind, Dispatch, DispatchLine, Returned
from app.shared.db import among
from app.shared.mass import HEAVIEST_G, kg_text
from app.shared.problems import FieldRefused, Refused

CUSTOMERS = Shelf(
    "customer", Customer, CustomerOut, key="name", folded="name_key",
    private=frozenset({"contact", "address"}),
)  # fmt: skip


@dataclass(frozen=True)
class Filled:
    """Bags somebody names: the unit they are in, their product and nominal quantity."""

    unit: Unit
    product_id: int
    sku: str
    nominal_g: int


_FILLED = [
    select(col(table.unit_id), col(Product.id), col(Product.sku), col(table.nominal_g))
    .join(Product, col(Product.id) == col(table.product_id))
    .where(col(table.unit_id).in_(bindparam("ids", expanding=True)))
    for table in (Pack, Returned)
]
"""Built once: putting a statement together takes several times as long as running it."""


def filled_bags(session: Session, codes: Sequence[str]) -> dict[str, Filled]:
    """Find packs, and bags that came back and may be sent again."""
    units = units_by_code(session, codes, UnitKind.PACK, UnitKind.RETURN)
    ids = [live(unit).id for unit in units.values()]
    found: dict[int, tuple[int, str, int]] = {}
    for filled in _FILLED:
        rows = session.execute(filled, {"ids": ids})
        found |= {row.unit_id: (row.id, row.sku, row.nominal_g) for row in rows}
    return {code: Filled(unit, *found[unit.id]) for code, unit in units.items()}


def dispatch(pen: Pen, asked: DispatchIn) -> DispatchOut:
    """Send bags to a customer, loose and in cases that leave whole.

    Raises:
        Refused: `not-free`, `case-state`, `crates-short`, and what posting refuses.
    """
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    refuse_consumers(customer)
    at = pen.moment(asked.dispatched_at, "#/dispatched_at")
    pick = pick_for(pen.session, asked.pick, customer)
    cases = leaving(
        pen.session, [line.case for line in asked.lines if isinstance(line, CaseNamed)], at
    )
    loose = {line.pack: line.bags for line in asked.lines if isinstance(line, BagsIn)}
    load = load_of(pen, loose, cases, pick.id if pick else NO_PICK)
    crates = look_up(pen.session, asked.crates, customer, CrateAct.OUT)
    posting = Posting("dispatch", at, asked.model_dump(mode="json"))
    born = send(pen, posting, Sending(asked.code, customer, asked.reference), load)
    entry_id = pen.entry_id or 0
    record_leaving(pen, cases, born.id)
    end_by(pen, pick, born.id, entry_id)
    return DispatchOut(
        code=born.code,
        customer=customer.name,
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
    )


class Load(NamedTuple):
    """Everything that leaves, by pack."""

    lines: list[BagsOut]
    units: Mapping[str, Unit]


class Sending(NamedTuple):
    """Under which code it leaves, to whom and for what."""

    code: str | None
    customer: Customer
    reference: str | None


def load_of(pen: Pen, loose: dict[str, int], cases: Leaving, pick: int = NO_PICK) -> Load:
    """Put together loose bags and those in cases, if they are free to leave."""
    cased = _codes(pen.session, cases)
    bags = filled_bags(pen.session, list(loose | cased))
    refuse_unfree(pen.session, {
        each.unit.id: Wanted(
            code, each.unit.left_g // each.nominal_g, loose.get(code, 0), cased.get(code, 0)
        )
        for code, each in bags.items()
    }, pen.now, pick)  # fmt: skip
    lines = [
        _line(code, loose.get(code, 0) + cased.get(code, 0), bags[code]) for code in loose | cased
    ]
    whole_g = sum(line.grams for line in lines)
    if whole_g > HEAVIEST_G:
        raise FieldRefused("#/lines", f"{kg_text(whole_g)} is over the limit of 30000 kg")
    return Load(lines, {code: each.unit for code, each in bags.items()})


def _codes(session: Session, cases: Leaving) -> dict[str, int]:
    """Name what is in cases by the codes of its packs, the oldest first."""
    if not cases.bags:
        return {}
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .where(among(session, col(Unit.id), cases.bags))
        .order_by(col(Unit.id))
    )
    return {code: cases.bags[unit_id] for unit_id, code in rows}


def send(pen: Pen, posting: Posting, sending: Sending, load: Load) -> Birth:
    """Let bags flow into a dispatch and post it."""
    whole_g = sum(line.grams for line in load.lines)
    born = pen.bear(posting, UnitKind.DISPATCH, sending.code, whole_g)
    for line in load.lines:
        posting.flow(load.units[line.pack].id, born, line.grams)
    pen.post(posting)
    pen.write(Dispatch, [
        {"unit_id": born.id, "customer_id": sending.customer.id, "reference": sending.reference},
    ])  # fmt: skip
    pen.write(DispatchLine, [
        {"dispatch_id": born.id, "pack_id": load.units[line.pack].id, "bags": line.bags,
         "grams": line.grams}
        for line in load.lines
    ])  # fmt: skip
    return born


def _line(code: str, bags: int, filled: Filled) -> BagsOut:
    return BagsOut(pack=code, product=filled.sku, bags=bags, grams=bags * filled.nominal_g)


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
    at = pen.moment(asked.returned_at, "#/returned_at")
    bags = filled_bags(pen.session, [line.pack for line in asked.lines])
    sent = pen.session.get_one(Dispatch, unit.id)
    customer = pen.session.get_one(Customer, sent.customer_id)
    posting = Posting("return", at, asked.model_dump(mode="json"), despite_holds=True)
    births = []
    for number, line in enumerate(asked.lines):
        filled = bags[line.pack]
        _refuse_surplus(pen.session, unit, filled, line.bags)
        births.append(_bear_return(pen, posting, asked, number, filled))
        posting.adjust(unit.id, -births[-1].made_g, Reason.RETURNED)
        posting.adjust(filled.unit.id, births[-1].made_g, Reason.RETURNED)
        posting.flow(filled.unit.id, births[-1], births[-1].made_g)
    crates = look_up(pen.session, asked.crates, customer, CrateAct.BACK)
    entry_id = pen.post(posting)
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


def _refuse_surplus(session: Session, dispatch: Unit, filled: Filled, bags: int) -> None:
    """Refuse more bags than went out and have not come back."""
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
        .where(col(Unit.voided_entry_id).is_(None))
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
