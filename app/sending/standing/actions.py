"""Entering and changing standing orders, and calling orders off them."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlmodel import col

from app.ledger.cards import card_at, enter, named, revise
from app.ledger.posting import Pen
from app.sending.actions import CUSTOMERS
from app.sending.orders.actions import enter_order, products_of, refuse_counter
from app.sending.orders.schemas import CalledOff, OrderOut, WantedBags
from app.sending.orders.tables import CustomerOrder, StandingOrder
from app.sending.standing.queries import STANDING_ORDERS, rhythm_of, standing_out
from app.sending.standing.schemas import CallIn, StandingChange, StandingIn, StandingOut
from app.sending.tables import Customer
from app.shared.problems import FieldRefused, Refused


def add_standing_order(pen: Pen, asked: StandingIn) -> StandingOut:
    """Enter what a customer wants again and again."""
    customer = named(pen.session, CUSTOMERS, asked.customer, "#/customer")
    refuse_counter(customer)
    products_of(pen.session, asked.lines)
    _refuse_backward(asked.starts_on, asked.ends_on)
    facts = _as_kept(asked.model_dump(exclude={"customer"}))
    card = enter(pen, STANDING_ORDERS, asked, {**facts, "customer_id": customer.id})
    return standing_out(card, customer.name)


def change_standing_order(
    pen: Pen, code: str, asked: StandingChange, if_match: str | None
) -> StandingOut:
    """Change a standing order; orders that were called off it stay as they are."""

    def _settle(card: StandingOrder, changes: dict[str, Any]) -> dict[str, Any]:
        starts_on, ends_on = (changes.get(n, getattr(card, n)) for n in ("starts_on", "ends_on"))
        _refuse_backward(starts_on, ends_on)
        products_of(pen.session, asked.lines or [])
        return _as_kept(changes)

    card = revise(pen, STANDING_ORDERS, code, asked, if_match, settle=_settle)
    return standing_out(card, pen.session.get_one(Customer, card.customer_id).name)


def _refuse_backward(starts_on: date, ends_on: date | None) -> None:
    if ends_on is not None and ends_on < starts_on:
        raise FieldRefused("#/ends_on", f"{ends_on} is earlier than it starts, {starts_on}")


def _as_kept(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Write dates as JSON can hold them."""
    kept = dict(facts)
    if "paused" in kept:
        kept["paused"] = [day.isoformat() for day in kept["paused"]]
    return kept


def call_off(pen: Pen, code: str, asked: CallIn) -> OrderOut:
    """Make the order of one date of a standing order, once."""
    card = card_at(pen.session, STANDING_ORDERS, code)
    _refuse_other_dates(card, asked.on)
    before = pen.session.scalars(
        select(col(CustomerOrder.code)).where(
            col(CustomerOrder.standing_order_id) == card.id,
            col(CustomerOrder.called_for) == asked.on,
        )
    ).first()
    if before is not None:
        raise Refused(
            "already-done",
            f"Standing order {card.code} was called off for {asked.on} before: {before}.",
            order=before,
        )
    customer = pen.session.get_one(Customer, card.customer_id)
    order = CalledOff(
        standing_order=card.code,
        called_for=asked.on,
        code=asked.code,
        customer=customer.name,
        reference=card.reference,
        due_on=asked.on,
        lines=[WantedBags.model_validate(line) for line in card.lines],
        note=card.note,
    )
    known = {"customer_id": customer.id, "standing_order_id": card.id, "called_for": asked.on}
    return enter_order(pen, order, known)


def _refuse_other_dates(card: StandingOrder, on: date) -> None:
    if not rhythm_of(card).falls_on(on):
        raise FieldRefused("#/on", f"standing order {card.code} does not fall on {on}")
    if on.isoformat() in card.paused:
        raise FieldRefused("#/on", f"standing order {card.code} is paused on {on}")
