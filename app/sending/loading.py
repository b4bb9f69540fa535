"""Bags on their way out: which ones, whether they are free, and booking that they left."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import bindparam, select
from sqlmodel import Session, col

from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, units_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Unit, UnitKind
from app.packing.tables import Pack, Product
from app.places.successors import post
from app.sending.cases.standing import Leaving
from app.sending.free import NO_PICK, Wanted, refuse_unfree
from app.sending.orders.tables import CustomerOrder
from app.sending.schemas import BagsOut
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import among
from app.shared.mass import HEAVIEST_G, kg_text
from app.shared.problems import FieldRefused


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


class Load(NamedTuple):
    """Everything that leaves, by pack."""

    lines: list[BagsOut]
    bags: Mapping[str, Filled]

    def by_product(self) -> Counter[tuple[int, str]]:
        """Count the bags by product: its number and what it is called."""
        sent: Counter[tuple[int, str]] = Counter()
        for line in self.lines:
            sent[self.bags[line.pack].product_id, line.product] += line.bags
        return sent


class Sending(NamedTuple):
    """Under which code it leaves, to whom and for what."""

    code: str | None
    customer: Customer
    reference: str | None = None
    order: CustomerOrder | None = None
    warnings: Sequence[str] = ()


def load_of(
    pen: Pen, posting: Posting, loose: dict[str, int], cases: Leaving, pick: int = NO_PICK
) -> Load:
    """Put together loose bags and those in cases, if they are free to leave."""
    cased = _codes(pen.session, cases)
    bags = filled_bags(pen.session, list(loose | cased))
    refuse_unfree(pen.session, {
        each.unit.id: Wanted(
            code, posting.left_of(each.unit) // each.nominal_g, loose.get(code, 0),
            cased.get(code, 0),
        )
        for code, each in bags.items()
    }, pen.now, pick, posting.voided)  # fmt: skip
    lines = [
        _line(code, loose.get(code, 0) + cased.get(code, 0), bags[code]) for code in loose | cased
    ]
    whole_g = sum(line.grams for line in lines)
    if whole_g > HEAVIEST_G:
        raise FieldRefused("#/lines", f"{kg_text(whole_g)} is over the limit of 30000 kg")
    return Load(lines, bags)


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
        posting.flow(load.bags[line.pack].unit.id, born, line.grams)
    post(pen, posting)
    pen.write(Dispatch, [
        {"unit_id": born.id, "customer_id": sending.customer.id, "reference": sending.reference,
         "order_id": sending.order.id if sending.order else None,
         "warnings": canonical(list(sending.warnings))},
    ])  # fmt: skip
    pen.write(DispatchLine, [
        {"dispatch_id": born.id, "pack_id": load.bags[line.pack].unit.id, "bags": line.bags,
         "grams": line.grams}
        for line in load.lines
    ])  # fmt: skip
    return born


def _line(code: str, bags: int, filled: Filled) -> BagsOut:
    return BagsOut(pack=code, product=filled.sku, bags=bags, grams=bags * filled.nominal_g)
