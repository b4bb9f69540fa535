"""Reading what can be picked, and the picks that were made."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Entry, Unit
from app.packing.tables import Product
from app.places.cautions import heavy_over_g
from app.sending.bags import facts_of
from app.sending.cases.contents import cased_bags
from app.sending.orders.schemas import OrderOut, WantedBags
from app.sending.orders.tables import CustomerOrder
from app.sending.picking.ending import sent_with
from app.sending.picking.rules import (
    Short,
    Stock,
    Taken,
    WhyNot,
    state_of,
    suggest,
    why_not,
)
from app.sending.picking.schemas import (
    LeftOutBags,
    PickBrief,
    PickedBags,
    PickOut,
    PickSuggestion,
    ShortBags,
    Wanted,
)
from app.sending.picking.stock import stocks
from app.sending.picking.tables import Pick, PickEnd, PickLine, PickWanted
from app.sending.picking.wanting import Asking, asking, of_order
from app.sending.tables import Customer
from app.settings import Settings
from app.shared.days import day_of
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import FieldRefused, ParameterRefused, Refused
from app.shared.times import now
from app.standards.handling import load_caution


def suggestion(
    session: Session, lines: Sequence[WantedBags] | None, order: str | None, settings: Settings
) -> PickSuggestion:
    """Suggest which bags to send; nothing is kept by it."""
    try:
        asked = asking(session, lines, order)
    except FieldRefused as refused:
        where = "want" if order is None else "order"
        raise ParameterRefused(where, refused.detail, refused.slug) from refused
    return _suggested(session, asked, asked.order.code if asked.order else None, settings)


def suggestion_for(session: Session, order: OrderOut, settings: Settings) -> PickSuggestion:
    """Suggest which bags to send for an order that was read."""
    return _suggested(session, of_order(session, order), order.code, settings)


def _suggested(
    session: Session, asked: Asking, order: str | None, settings: Settings
) -> PickSuggestion:
    moment = now()
    there = stocks(session, asked.bags, moment)
    taken, short = suggest(there, asked.bags, day_of(moment))
    apart = left_out(there, moment)
    return PickSuggestion(
        order=order,
        wanted=asked.told(),
        lines=picked(taken, settings),
        short=shortages(short, asked.skus),
        past_best_before=[each for each in apart if each.why is WhyNot.PAST_BEST_BEFORE],
        left_out=[each for each in apart if each.why is not WhyNot.PAST_BEST_BEFORE],
    )


def picked(taken: Sequence[Taken], settings: Settings) -> list[PickedBags]:
    """Show bags as the lines of a pick."""
    over_g = heavy_over_g(settings)
    return [
        PickedBags(
            pack=stock.code, product=stock.sku, bags=bags, grams=bags * stock.nominal_g,
            lot_mark=stock.lot_mark, best_before=stock.best_before, in_cases=stock.in_cases,
            caution=load_caution(bags * stock.nominal_g, over_g),
        )
        for stock, bags in taken
    ]  # fmt: skip


def shortages(short: Sequence[Short], skus: Mapping[int, str]) -> list[ShortBags]:
    """Say of which products there are too few."""
    return [
        ShortBags(
            product=skus[each.product_id], asked=each.asked, found=each.found,
            short=each.asked - each.found,
        )
        for each in short
    ]  # fmt: skip


def left_out(there: Sequence[Stock], moment: datetime) -> list[LeftOutBags]:
    """Name the bags that are not suggested, with the reason."""
    return [
        LeftOutBags(
            pack=stock.code, product=stock.sku, bags=stock.left, best_before=stock.best_before,
            why=why,
        )
        for stock in sorted(there, key=lambda stock: stock.id)
        if (why := why_not(stock, day_of(moment))) is not None
    ]  # fmt: skip


@cache
def _picks() -> AnySelect:
    return (
        select(
            col(Pick.id),
            Pick,
            col(Customer.name),
            col(CustomerOrder.code).label("order"),
            col(Entry.happened_at),
            col(Entry.who),
            col(PickEnd.entry_id).label("ended"),
            col(PickEnd.reason).label("cancel_reason"),
            Unit,
        )
        .join(Entry, col(Entry.id) == col(Pick.entry_id))
        .outerjoin(Customer, col(Customer.id) == col(Pick.customer_id))
        .outerjoin(CustomerOrder, col(CustomerOrder.id) == col(Pick.order_id))
        .outerjoin(PickEnd, col(PickEnd.pick_id) == col(Pick.id))
        .outerjoin(Unit, col(Unit.id) == col(PickEnd.dispatch_id))
    )


def _brief(session: Session, row: Any, bags: int) -> dict[str, Any]:  # noqa: ANN401 - a row of `_picks`
    sent = row.Unit
    if sent is not None and sent.voided_entry_id is not None:
        sent = sent_with(session, sent.id)
    return {
        "id": row.id, "customer": row.name, "order": row.order, "bags": bags,
        "state": state_of(
            row.Pick.kept_until, now(), ended=row.ended is not None, sent=sent is not None
        ),
        "as_suggested": row.Pick.as_suggested, "reason": row.Pick.reason,
        "picked_at": row.happened_at, "picked_by": row.who, "kept_until": row.Pick.kept_until,
        "dispatch": sent.code if sent else None, "cancel_reason": row.cancel_reason,
    }  # fmt: skip


def pick(session: Session, number: int, settings: Settings) -> PickOut:
    """Read one pick."""
    row = session.execute(_picks().where(col(Pick.id) == number)).first()
    if row is None:
        raise Refused("not-found", f"There is no pick {number}.")
    rows = session.execute(
        select(col(PickLine.pack_id), col(PickLine.bags))
        .where(col(PickLine.pick_id) == number)
        .order_by(col(PickLine.number))
    ).all()
    ids = [pack_id for pack_id, _ in rows]
    facts, cased = facts_of(session, ids), cased_bags(session, ids)
    over_g = heavy_over_g(settings)
    return PickOut(
        **_brief(session, row, sum(bags for _, bags in rows)),
        wanted=_wanted(session, number),
        lines=[
            PickedBags(
                pack=facts[pack_id].code,
                product=facts[pack_id].sku,
                bags=bags,
                grams=bags * facts[pack_id].nominal_g,
                lot_mark=facts[pack_id].lot_mark,
                best_before=facts[pack_id].best_before,
                in_cases=cased[pack_id],
                caution=load_caution(bags * facts[pack_id].nominal_g, over_g),
            )
            for pack_id, bags in rows
        ],
        entry=row.Pick.entry_id,
    )


def _wanted(session: Session, number: int) -> list[Wanted]:
    product = aliased(Product)
    rows = session.execute(
        select(col(product.sku), col(PickWanted.bags))
        .join(product, col(product.id) == col(PickWanted.product_id))
        .where(col(PickWanted.pick_id) == number)
        .order_by(col(product.id))
    )
    return [Wanted(product=sku, bags=bags) for sku, bags in rows]


def pick_page(session: Session, page: Page, opened: bool | None) -> PageOf:
    """Read picks in the order they were made, all of them or those that keep bags now."""
    statement = _picks()
    if opened is not None:
        keeps = col(PickEnd.pick_id).is_(None) & (col(Pick.kept_until) > now())
        statement = statement.where(keeps if opened else ~keeps)
    rows, following = turn_page(session, statement, col(Pick.id), page)
    bags = _bags(session, [row.id for row in rows])
    return [
        PickBrief(**_brief(session, row, bags.get(row.id, 0))).model_dump(by_alias=True)
        for row in rows
    ], following


def _bags(session: Session, numbers: Collection[int]) -> Mapping[int, int]:
    rows = session.execute(
        select(col(PickLine.pick_id), func.sum(col(PickLine.bags)))
        .where(among(session, col(PickLine.pick_id), numbers))
        .group_by(col(PickLine.pick_id))
    )
    return {number: int(count) for number, count in rows}
