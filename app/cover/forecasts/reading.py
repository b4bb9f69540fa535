"""Reading bags: how many grams of each product were sent, and are there to be sent."""

from collections.abc import Mapping
from datetime import date

from sqlalchemy import func, or_, select, union_all
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.cover.rules import Tally
from app.ledger.happened import gone_since
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit
from app.packing.tables import Pack, Product
from app.sending.tables import DispatchLine, Returned
from app.shared.days import begin_of, end_of
from app.shared.days_in_sql import day_in_sql
from app.shared.db import AnySelect
from app.shared.names import fold_name


def bags_by_product(session: Session, first: date, last: date) -> Mapping[str, Tally]:
    """Add up by product what was sent on each day, and what is there at the end of the last."""
    found: dict[int, Tally] = {}
    for product in session.execute(select(col(Product.id), col(Product.sku), col(Product.name))):
        found[product.id] = Tally(product.sku, product.name)
    for product_id, day, grams in session.execute(_sent(first, last)):
        found[product_id].draw(day, int(grams))
    for product_id, held, grams in session.execute(_there(last)):
        found[product_id].on_hand_g += int(grams)
        found[product_id].held_g += int(grams) if held else 0
    return {fold_name(tally.key): tally for tally in found.values()}


def _sent(first: date, last: date) -> AnySelect:
    """Build what was sent by product and day.

    Bags that came back were not wanted after all: they are taken off the day they were sent on.
    """
    sent, again, back = aliased(Unit), aliased(Returned), aliased(Unit)
    lines: AnySelect = (
        select(
            func.coalesce(col(Pack.product_id), col(again.product_id)).label("product_id"),
            col(Entry.happened_at),
            col(DispatchLine.grams),
        )
        .join(sent, col(sent.id) == col(DispatchLine.dispatch_id))
        .join(Entry, col(Entry.id) == col(sent.born_entry_id))
        .outerjoin(Pack, col(Pack.unit_id) == col(DispatchLine.pack_id))
        .outerjoin(again, col(again.unit_id) == col(DispatchLine.pack_id))
    )
    came: AnySelect = (
        select(col(Returned.product_id), col(Entry.happened_at), -col(back.made_g))
        .join(back, col(back.id) == col(Returned.unit_id))
        .join(sent, col(sent.id) == col(Returned.dispatch_id))
        .join(Entry, col(Entry.id) == col(sent.born_entry_id))
        .where(col(back.voided_entry_id).is_(None))
    )
    each = union_all(*(
        some.where(col(sent.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(first), col(Entry.happened_at) < end_of(last))
        for some in (lines, came)
    )).subquery()  # fmt: skip
    day = day_in_sql(each.c.happened_at, first, last)
    return select(each.c.product_id, day, func.sum(each.c.grams)).group_by(each.c.product_id, day)


def _there(day: date) -> AnySelect:
    """Build by product what there was at the end of a day and not past its date."""
    gone = gone_since(end_of(day))
    left = col(Unit.left_g) + func.coalesce(gone.c.grams, 0)
    packs: AnySelect = select(col(Pack.product_id), on_hold(col(Unit.id)).label("held"))
    packs = packs.join(Unit, col(Unit.id) == col(Pack.unit_id)).where(
        or_(col(Pack.best_before).is_(None), col(Pack.best_before) >= day)
    )
    returns: AnySelect = select(col(Returned.product_id), on_hold(col(Unit.id)).label("held"))
    returns = returns.join(Unit, col(Unit.id) == col(Returned.unit_id))
    each = union_all(*(
        some.add_columns(left.label("left_g"))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(gone, gone.c.id == col(Unit.id))
        .where(col(Unit.voided_entry_id).is_(None), col(Entry.happened_at) < end_of(day), left > 0)
        for some in (packs, returns)
    )).subquery()  # fmt: skip
    return select(each.c.product_id, each.c.held, func.sum(each.c.left_g)).group_by(
        each.c.product_id, each.c.held
    )
