"""Moving crates that travel alone, counting them, and taking either back."""

from collections.abc import Mapping, Sequence

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import named
from app.ledger.corrections.acts import Act, void_act
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.ledger.posting import Pen
from app.ledger.tables import Unit
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
from app.sending.crates.tables import CrateAct, CrateKind, CrateMovement
from app.sending.tables import Customer
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused


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


def void(pen: Pen, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that crates which travelled alone never did, or that a count of crates never was.

    All that was booked with it goes too.

    Raises:
        Refused: `not-voidable` for crates that went with a dispatch or return; `crates-short`
            where they have moved on since.
    """
    movement = pen.session.get(CrateMovement, number)
    if movement is None:
        raise Refused("not-found", f"There is no movement {number} of crates.")
    if movement.unit_id is not None:
        unit = pen.session.get_one(Unit, movement.unit_id)
        raise Refused(
            "not-voidable",
            f"The crates of movement {number} went with {unit.kind} {unit.code}: void that.",
            unit=unit.code,
        )
    lines = pen.session.scalars(
        select(CrateMovement)
        .where(col(CrateMovement.entry_id) == movement.entry_id)
        .order_by(col(CrateMovement.id))
    ).all()
    customer = pen.session.get_one(Customer, movement.customer_id) if movement.customer_id else None
    of = {"at": customer.name if customer else "the house"}
    voided = void_act(pen, Act("crates_entry_id", number, of, movement.entry_id), asked)
    _refuse_short_now(pen.session, lines, customer)
    return voided


def _refuse_short_now(
    session: Session, lines: Sequence[CrateMovement], customer: Customer | None
) -> None:
    """Refuse to leave fewer than no crates in the house or at a customer."""
    kinds = [line.kind_id for line in lines]
    sides = {"are in the house": in_house(session, kinds)}
    if customer is not None and customer.id is not None:
        sides[f"are at {customer.name}"] = at_customer(session, customer.id, kinds)
    for where, counts in sides.items():
        for kind_id, there in counts.items():
            if there < 0:
                name = session.get_one(CrateKind, kind_id).name
                raise Refused(
                    "crates-short",
                    f"Without it {there} crates {name} {where}: void first what moved since.",
                    kind=name,
                    there=there,
                )
