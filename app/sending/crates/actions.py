"""Moving crates that travel alone, and counting them."""

from collections.abc import Mapping, Sequence

from sqlmodel import col

from app.ledger.cards import named
from app.ledger.posting import Pen
from app.sending.actions import CUSTOMERS
from app.sending.crates.schemas import (
    CrateCountIn,
    CrateCountOut,
    CrateMovementIn,
    CrateMovementOut,
    Standing,
)
from app.sending.crates.shelf import CRATE_KINDS
from app.sending.crates.stock import (
    Moved,
    at_customer,
    in_house,
    look_up,
    write_moves,
)
from app.sending.crates.tables import CrateAct, CrateMovement
from app.shared.db import next_number
from app.shared.problems import FieldRefused


def move(pen: Pen, asked: CrateMovementIn) -> CrateMovementOut:
    """Book crates that went to a customer or came back without coffee in them.

    Raises:
        Refused: `crates-short`.
    """
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    at = pen.moment(asked.moved_at, "#/moved_at")
    moved = look_up(pen.session, asked.crates, customer, asked.act)
    entry_id = pen.note("crates moved", asked.model_dump(mode="json"), at)
    sent = write_moves(pen, moved, customer, asked.act, entry_id)
    ids = [each.kind.id or 0 for each in moved]
    return CrateMovementOut(
        customer=customer.name,
        act=asked.act,
        crates=sent,
        at_customer=_standing(moved, at_customer(pen.session, customer.id or 0, ids)),
        in_house=_standing(moved, in_house(pen.session, ids)),
        moved_at=at,
        entry=entry_id,
    )


def _standing(moved: Sequence[Moved], counts: Mapping[int, int]) -> list[Standing]:
    return [Standing(kind=each.kind.name, count=counts.get(each.kind.id or 0, 0)) for each in moved]


def count(pen: Pen, asked: CrateCountIn) -> CrateCountOut:
    """Bring the book to a count of crates in the house or at a customer, with the reason."""
    kind = named(pen.session, CRATE_KINDS, asked.kind, "#/kind")
    customer = (
        None
        if asked.customer is None
        else named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    )
    at = pen.moment(asked.counted_at, "#/counted_at")
    kind_id = kind.id or 0
    there = (
        in_house(pen.session, [kind_id])
        if customer is None
        else at_customer(pen.session, customer.id or 0, [kind_id])
    ).get(kind_id, 0)
    change = asked.counted - there
    if change == 0:
        raise FieldRefused("#/counted", f"the book has {there} crates there as well")
    said = {**asked.model_dump(mode="json"), "book": there, "change": change}
    entry_id = pen.note("crates counted", said, at)
    pen.write(CrateMovement, [
        {"id": next_number(pen.session, col(CrateMovement.id)), "kind_id": kind_id,
         "act": CrateAct.COUNT, "customer_id": customer.id if customer else None,
         "house": 0 if customer else change, "away": change if customer else 0, "unit_id": None,
         "reason": asked.reason, "entry_id": entry_id},
    ])  # fmt: skip
    return CrateCountOut(
        kind=kind.name,
        customer=customer.name if customer else None,
        book=there,
        counted=asked.counted,
        change=change,
        reason=asked.reason,
        counted_at=at,
        entry=entry_id,
    )
