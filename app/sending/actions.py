"""Sending bags to customers and taking them back."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import bindparam, func, select
from sqlmodel import Session, col

from app.ledger.actions import place_hold
from app.ledger.cards import Shelf, named
from app.ledger.corrections.replacing import happened, in_place_of
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, unit_by_code, units_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Reason, Unit, UnitKind
from app.packing.tables import Pack, Product
from app.places.successors import post
from app.sending.orders.filling import beyond_the_order, order_of
from app.sending.orders.tables import CustomerOrder
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
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.mass import HEAVIEST_G, kg_text
from app.shared.problems import FieldRefused, Refused

CUSTOMERS = Shelf(
    "customer", Customer, CustomerOut, key="name", folded="name_key",
    private=frozenset({"contact"}),
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
    """Send bags to a customer."""
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    order = order_of(pen.session, asked.order, customer) if asked.order else None
    at = happened(pen, asked, asked.dispatched_at, "#/dispatched_at")
    bags = filled_bags(pen.session, [line.pack for line in asked.lines])
    lines = [_line(line, bags) for line in asked.lines]
    whole_g = sum(line.grams for line in lines)
    if whole_g > HEAVIEST_G:
        raise FieldRefused("#/lines", f"{kg_text(whole_g)} is over the limit of 30000 kg")
    warnings = _warnings(pen.session, order, lines, bags)
    posting = Posting("dispatch", at, asked.model_dump(mode="json"))
    in_place_of(pen, posting, asked, UnitKind.DISPATCH)
    born = pen.bear(posting, UnitKind.DISPATCH, asked.code, whole_g)
    for line in lines:
        posting.flow(bags[line.pack].unit.id, born, line.grams)
    post(pen, posting)
    assert customer.id is not None  # noqa: S101 - read from the database
    pen.write(Dispatch, [
        {"unit_id": born.id, "customer_id": customer.id, "reference": asked.reference,
         "order_id": order.id if order else None, "warnings": canonical(warnings)},
    ])  # fmt: skip
    pen.write(DispatchLine, [
        {"dispatch_id": born.id, "pack_id": bags[line.pack].unit.id, "bags": line.bags,
         "grams": line.grams}
        for line in lines
    ])  # fmt: skip
    return DispatchOut(
        code=born.code,
        customer=customer.name,
        order=order.code if order else None,
        reference=asked.reference,
        dispatched_at=at,
        grams=whole_g,
        left_g=whole_g,
        voided=False,
        lines=lines,
        returns=[],
        warnings=warnings,
    )


def _warnings(
    session: Session,
    order: CustomerOrder | None,
    lines: Sequence[BagsOut],
    bags: Mapping[str, Filled],
) -> list[str]:
    if order is None:
        return []
    sent: Counter[tuple[int, str]] = Counter()
    for line in lines:
        sent[bags[line.pack].product_id, line.product] += line.bags
    return beyond_the_order(session, order, sent)


def _line(asked: BagsIn, bags: Mapping[str, Filled]) -> BagsOut:
    filled = bags[asked.pack]
    return BagsOut(
        pack=asked.pack, product=filled.sku, bags=asked.bags,
        grams=asked.bags * filled.nominal_g,
    )  # fmt: skip


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
