"""Reading where crates are, and how they came there."""

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.tables import Entry, Unit
from app.sending.actions import CUSTOMERS
from app.sending.crates.schemas import AtCustomer, CrateBalance, CrateMovementLine
from app.sending.crates.stock import COUNTS, VOIDED, in_house
from app.sending.crates.tables import CrateKind, CrateMovement
from app.sending.tables import Customer
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page


def balance_page(session: Session, page: Page) -> PageOf:
    """Read where the crates of each kind are, by kind in the order they were entered."""
    statement = select(col(CrateKind.id), col(CrateKind.name))
    rows, following = turn_page(session, statement, col(CrateKind.id), page)
    ids = [row.id for row in rows]
    house = in_house(session, ids)
    away: dict[int, list[AtCustomer]] = {}
    for kind_id, name, count in session.execute(
        select(col(CrateMovement.kind_id), col(Customer.name), func.sum(col(CrateMovement.away)))
        .join(Customer, col(Customer.id) == col(CrateMovement.customer_id))
        .outerjoin(Unit, col(Unit.id) == col(CrateMovement.unit_id))
        .where(COUNTS, among(session, col(CrateMovement.kind_id), ids))
        .group_by(col(CrateMovement.kind_id), col(Customer.name), col(Customer.id))
        .having(func.sum(col(CrateMovement.away)) != 0)
        .order_by(col(Customer.id))
    ):
        away.setdefault(kind_id, []).append(AtCustomer(customer=name, count=int(count)))
    return [
        CrateBalance(
            id=row.id,
            kind=row.name,
            in_house=house.get(row.id, 0),
            at_customers=away.get(row.id, []),
            count=house.get(row.id, 0) + sum(each.count for each in away.get(row.id, [])),
        ).model_dump(by_alias=True)
        for row in rows
    ], following


def movement_page(session: Session, page: Page, customer: str | None) -> PageOf:
    """Read movements of crates in the order they were booked."""
    statement: AnySelect = (
        select(
            col(CrateMovement.id),
            CrateMovement,
            col(CrateKind.name).label("kind"),
            col(Customer.name).label("customer"),
            col(Unit.code),
            VOIDED.label("voided"),
            col(Entry.happened_at),
            col(Entry.who),
        )
        .join(CrateKind, col(CrateKind.id) == col(CrateMovement.kind_id))
        .join(Entry, col(Entry.id) == col(CrateMovement.entry_id))
        .outerjoin(Customer, col(Customer.id) == col(CrateMovement.customer_id))
        .outerjoin(Unit, col(Unit.id) == col(CrateMovement.unit_id))
    )
    if customer is not None:
        found = card_at(session, CUSTOMERS, customer)
        statement = statement.where(col(CrateMovement.customer_id) == found.id)
    rows, following = turn_page(session, statement, col(CrateMovement.id), page)
    return [
        CrateMovementLine(
            id=row.id,
            kind=row.kind,
            act=row.CrateMovement.act,
            customer=row.customer,
            house=row.CrateMovement.house,
            away=row.CrateMovement.away,
            unit=row.code,
            voided=bool(row.voided),
            reason=row.CrateMovement.reason,
            moved_at=row.happened_at,
            moved_by=row.who,
            entry=row.CrateMovement.entry_id,
        ).model_dump(by_alias=True)
        for row in rows
    ], following
