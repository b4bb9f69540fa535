"""Reading sales over the counter, by day, shop and pack."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.queries import unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.sending.actions import CUSTOMERS
from app.sending.queries import lines_of
from app.sending.sales.schemas import SaleOut
from app.sending.sales.tables import Sale
from app.sending.tables import Customer, Dispatch, DispatchLine
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page


@dataclass(frozen=True)
class SalesAsked:
    """Which sales somebody asks for."""

    shop: str | None = None
    pack: str | None = None
    since: date | None = None
    until: date | None = None


def sale_page(session: Session, page: Page, asked: SalesAsked) -> PageOf:
    """Read sales in the order they were booked."""
    statement: AnySelect = (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Customer.name),
            col(Sale.sold_on),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Unit.voided_entry_id),
        )
        .join(Sale, col(Sale.dispatch_id) == col(Unit.id))
        .join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
    )
    if asked.shop is not None:
        found = card_at(session, CUSTOMERS, asked.shop)
        statement = statement.where(col(Dispatch.customer_id) == found.id)
    if asked.pack is not None:
        pack = unit_by_code(session, asked.pack, UnitKind.PACK, UnitKind.RETURN)
        holding = select(col(DispatchLine.dispatch_id)).where(col(DispatchLine.pack_id) == pack.id)
        statement = statement.where(col(Unit.id).in_(holding))
    if asked.since is not None:
        statement = statement.where(col(Sale.sold_on) >= asked.since)
    if asked.until is not None:
        statement = statement.where(col(Sale.sold_on) <= asked.until)
    rows, following = turn_page(session, statement, col(Unit.id), page)
    lines = lines_of(session, [row.id for row in rows])
    return [
        SaleOut(
            code=row.code,
            shop=row.name,
            sold_on=row.sold_on,
            grams=row.made_g,
            left_g=row.left_g,
            voided=row.voided_entry_id is not None,
            lines=lines.get(row.id, []),
        ).model_dump(by_alias=True)
        for row in rows
    ], following
