"""Reading dispatches and returns."""

import json
from collections.abc import Collection
from functools import cache
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.queries import on_hold, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.tables import Pack, Product
from app.sending.actions import CUSTOMERS
from app.sending.cases.tables import Case, DispatchCase
from app.sending.crates.stock import crates_with
from app.sending.orders.tables import CustomerOrder
from app.sending.schemas import BagsOut, DispatchLineOut, DispatchOut, ReturnLineOut
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page


@cache
def _dispatches() -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Customer.name),
            col(CustomerOrder.code).label("order"),
            col(Dispatch.warnings),
            col(Dispatch.reference),
            col(Entry.happened_at),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Unit.voided_entry_id),
        )
        .join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(CustomerOrder, col(CustomerOrder.id) == col(Dispatch.order_id))
    )


def _dispatch_fields(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a row of `_dispatches`
    return {
        "code": row.code, "customer": row.name, "order": row.order, "reference": row.reference,
        "dispatched_at": row.happened_at, "grams": row.made_g, "left_g": row.left_g,
        "voided": row.voided_entry_id is not None,
    }  # fmt: skip


def dispatch(session: Session, code: str) -> DispatchOut:
    """Read one dispatch with its lines and what came back."""
    unit = unit_by_code(session, code, UnitKind.DISPATCH)
    row = session.execute(_dispatches().where(col(Unit.id) == unit.id)).one()
    returns = session.scalars(
        select(col(Unit.code))
        .join(Returned, col(Returned.unit_id) == col(Unit.id))
        .where(col(Returned.dispatch_id) == unit.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    return DispatchOut(
        **_dispatch_fields(row), lines=lines_of(session, [unit.id])[unit.id],
        cases=_cases(session, unit.id), crates=list(crates_with(session, [unit.id])),
        pick=_pick(session, unit),
        returns=list(returns), warnings=json.loads(row.warnings or "[]"),
    )  # fmt: skip


def _pick(session: Session, unit: Unit) -> int | None:
    """Name the pick that a dispatch named: its end may name one that this dispatch replaces."""
    facts = json.loads(session.get_one(Entry, unit.born_entry_id).facts)
    number: int | None = facts["said"].get("pick")
    return number


def _cases(session: Session, dispatch_id: int) -> list[str]:
    """Name the cases and pallets that a dispatch named."""
    return list(session.scalars(
        select(col(Case.code))
        .join(DispatchCase, col(DispatchCase.case_id) == col(Case.id))
        .where(col(DispatchCase.dispatch_id) == dispatch_id, col(DispatchCase.named).is_(True))
        .order_by(col(Case.id))
    ))  # fmt: skip


def lines_of(session: Session, dispatch_ids: Collection[int]) -> dict[int, list[BagsOut]]:
    """Read the lines of dispatches, with what came back of each."""
    back = {
        (row[0], row[1]): int(row[2])
        for row in session.execute(
            select(col(Returned.dispatch_id), col(Returned.pack_id), func.sum(col(Returned.bags)))
            .join(Unit, col(Unit.id) == col(Returned.unit_id))
            .where(among(session, col(Returned.dispatch_id), dispatch_ids))
            .where(col(Unit.voided_entry_id).is_(None))
            .group_by(col(Returned.dispatch_id), col(Returned.pack_id))
        )
    }
    rows = session.execute(
        select(
            col(DispatchLine.dispatch_id),
            col(Unit.id),
            col(Unit.code),
            col(Product.sku),
            col(DispatchLine.bags),
            col(DispatchLine.grams),
        )
        .join(Unit, col(Unit.id) == col(DispatchLine.pack_id))
        .outerjoin(Pack, col(Pack.unit_id) == col(Unit.id))
        .outerjoin(Returned, col(Returned.unit_id) == col(Unit.id))
        .join(
            Product,
            col(Product.id) == func.coalesce(col(Pack.product_id), col(Returned.product_id)),
        )
        .where(among(session, col(DispatchLine.dispatch_id), dispatch_ids))
        .order_by(col(Unit.id))
    )
    found: dict[int, list[BagsOut]] = {}
    for row in rows:
        found.setdefault(row.dispatch_id, []).append(
            BagsOut(
                pack=row.code,
                product=row.sku,
                bags=row.bags,
                grams=row.grams,
                returned_bags=back.get((row.dispatch_id, row.id), 0),
            )
        )
    return found


def dispatch_page(session: Session, page: Page, customer: str | None) -> PageOf:
    """Read dispatches in the order they were booked."""
    statement = _dispatches()
    if customer is not None:
        found = card_at(session, CUSTOMERS, customer)
        statement = statement.where(col(Dispatch.customer_id) == found.id)
    rows, following = turn_page(session, statement, col(Unit.id), page)
    return [
        DispatchLineOut(**_dispatch_fields(row)).model_dump(by_alias=True) for row in rows
    ], following


def return_page(session: Session, page: Page, dispatch_code: str | None) -> PageOf:
    """Read returns in the order they were booked."""
    sent, pack = aliased(Unit), aliased(Unit)
    statement: AnySelect = (
        select(
            col(Unit.id),
            col(Unit.code),
            col(sent.code).label("dispatch"),
            col(pack.code).label("pack"),
            col(Customer.name),
            col(Product.sku),
            col(Returned.bags),
            col(Returned.nominal_g),
            col(Returned.reason),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Entry.happened_at),
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Returned, col(Returned.unit_id) == col(Unit.id))
        .join(sent, col(sent.id) == col(Returned.dispatch_id))
        .join(pack, col(pack.id) == col(Returned.pack_id))
        .join(Dispatch, col(Dispatch.unit_id) == col(Returned.dispatch_id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .join(Product, col(Product.id) == col(Returned.product_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
    )
    if dispatch_code is not None:
        unit = unit_by_code(session, dispatch_code, UnitKind.DISPATCH)
        statement = statement.where(col(Returned.dispatch_id) == unit.id)
    rows, following = turn_page(session, statement, col(Unit.id), page)
    return [_return_line(row).model_dump(by_alias=True) for row in rows], following


def _return_line(row: Any) -> ReturnLineOut:  # noqa: ANN401 - a row of `return_page`
    return ReturnLineOut(
        code=row.code,
        dispatch=row.dispatch,
        customer=row.name,
        pack=row.pack,
        product=row.sku,
        bags=row.bags,
        bags_left=row.left_g // row.nominal_g,
        grams=row.made_g,
        left_g=row.left_g,
        reason=row.reason,
        returned_at=row.happened_at,
        held=row.held,
        voided=row.voided_entry_id is not None,
    )
