"""Reading standing orders and the dates they fall on."""

from collections.abc import Sequence
from datetime import date
from functools import cache

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import CardOut, Shelf, card_at
from app.sending.orders.tables import CustomerOrder, StandingOrder
from app.sending.standing.rules import Rhythm
from app.sending.standing.schemas import StandingBags, StandingDate, StandingDates, StandingOut
from app.sending.tables import Customer
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page

STANDING_ORDERS = Shelf(
    "standing order", StandingOrder, CardOut, key="code", folded="code",
    private=frozenset({"note"}),
)  # fmt: skip


def rhythm_of(card: StandingOrder) -> Rhythm:
    """Read out of a card on which days it falls, pauses aside."""
    return Rhythm(card.weekdays, card.every_weeks, card.starts_on, card.ends_on)


@cache
def _standing() -> AnySelect:
    return select(col(StandingOrder.id), StandingOrder, col(Customer.name).label("customer")).join(
        Customer, col(Customer.id) == col(StandingOrder.customer_id)
    )


def standing_order(session: Session, code: str) -> StandingOut:
    """Read one standing order."""
    card = card_at(session, STANDING_ORDERS, code)
    return standing_out(card, session.get_one(Customer, card.customer_id).name)


def standing_out(card: StandingOrder, customer: str) -> StandingOut:
    """Answer a standing order."""
    assert card.id is not None  # noqa: S101 - read from the database or flushed
    return StandingOut(
        id=card.id, version=card.version, code=card.code, customer=customer,
        reference=card.reference,
        lines=[
            StandingBags(product=str(line["product"]), bags=int(line["bags"]))
            for line in card.lines
        ],
        weekdays=card.weekdays, every_weeks=card.every_weeks, starts_on=card.starts_on,
        ends_on=card.ends_on, paused=[date.fromisoformat(day) for day in card.paused],
        note=card.note,
    )  # fmt: skip


def standing_page(session: Session, page: Page, customer_id: int | None) -> PageOf:
    """Read standing orders in the order they were entered."""
    statement = _standing()
    if customer_id is not None:
        statement = statement.where(col(StandingOrder.customer_id) == customer_id)
    rows, following = turn_page(session, statement, col(StandingOrder.id), page)
    return [
        standing_out(row.StandingOrder, row.customer).model_dump(by_alias=True) for row in rows
    ], following  # fmt: skip


def dates(session: Session, code: str, first: date, last: date) -> StandingDates:
    """Name the days a standing order falls on, and what was called off for them."""
    card = card_at(session, STANDING_ORDERS, code)
    called = {
        row.called_for: row.code
        for row in session.execute(
            select(col(CustomerOrder.called_for), col(CustomerOrder.code))
            .where(col(CustomerOrder.standing_order_id) == card.id)
            .where(col(CustomerOrder.called_for).between(first, last))
        )
    }
    paused = set(card.paused)
    # A date that was called off before the rhythm was changed is shown as well.
    days = sorted({*rhythm_of(card).dates(first, last), *called})
    return StandingDates(first=first, last=last, dates=[
        StandingDate(on=day, paused=day.isoformat() in paused, order=called.get(day))
        for day in days
    ])  # fmt: skip


def still_to_call(
    session: Session, first: date, last: date
) -> Sequence[tuple[StandingOrder, date]]:
    """Name the dates of all standing orders in a period that are neither paused nor called off."""
    of_card = col(CustomerOrder.standing_order_id) == col(StandingOrder.id)
    rows = session.execute(
        select(StandingOrder, col(CustomerOrder.called_for))
        .outerjoin(CustomerOrder, of_card & col(CustomerOrder.called_for).between(first, last))
        .where(col(StandingOrder.starts_on) <= last)
        .order_by(col(StandingOrder.id))
    ).all()
    called = {(card.id, day) for card, day in rows}
    return [
        (card, day)
        for card in {card.id: card for card, _ in rows}.values()
        for day in rhythm_of(card).dates(first, last)
        if day.isoformat() not in card.paused and (card.id, day) not in called
    ]
