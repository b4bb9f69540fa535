"""What is printed on bags, whether they are in their pack still or came back once."""

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import CTE, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Entry, Unit
from app.packing.tables import Pack, Product
from app.sending.tables import Returned
from app.shared.db import among


class BagFacts(NamedTuple):
    """What bags of one unit are."""

    code: str
    pack_id: int
    """The pack that they were first in."""
    product_id: int
    sku: str
    product: str
    gtin: str | None
    nominal_g: int
    lot_mark: str
    best_before: date | None
    packed_at: datetime


def origins(session: Session, returned_ids: Collection[int]) -> Mapping[int, int]:
    """Name the pack that bags which came back, once or more often, were first in."""
    first = (
        select(col(Returned.unit_id).label("bags"), col(Returned.pack_id).label("source"))
        .where(among(session, col(Returned.unit_id), returned_ids))
        .cte("origin", recursive=True)
    )
    origin = _back_to_packs(first)
    rows = session.execute(
        select(origin.c.bags, origin.c.source).join(Pack, col(Pack.unit_id) == origin.c.source)
    )
    return {row[0]: row[1] for row in rows}


def _back_to_packs(first: CTE) -> CTE:
    """Follow bags that came back to what they came out of, until there is nothing before it."""
    older = select(first.c.bags, col(Returned.pack_id)).join(
        Returned, col(Returned.unit_id) == first.c.source
    )
    return first.union_all(older)


def facts_of(session: Session, unit_ids: Collection[int]) -> Mapping[int, BagFacts]:
    """Read what bags are, by the number of their unit."""
    first = (
        select(col(Unit.id).label("bags"), col(Unit.id).label("source"))
        .where(among(session, col(Unit.id), unit_ids))
        .cte("origin", recursive=True)
    )
    pack = aliased(Unit)
    origin = _back_to_packs(first)
    rows = session.execute(
        select(
            origin.c.bags,
            col(Unit.code),
            col(Pack.unit_id),
            col(Product.id),
            col(Product.sku),
            col(Product.name),
            col(Product.gtin),
            col(Pack.nominal_g),
            col(Pack.lot_mark),
            col(Pack.best_before),
            col(Entry.happened_at),
        )
        .join(Unit, col(Unit.id) == origin.c.bags)
        .join(Pack, col(Pack.unit_id) == origin.c.source)
        .join(Product, col(Product.id) == col(Pack.product_id))
        .join(pack, col(pack.id) == col(Pack.unit_id))
        .join(Entry, col(Entry.id) == col(pack.born_entry_id))
    )
    return {row[0]: BagFacts(*row[1:]) for row in rows}
