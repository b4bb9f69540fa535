"""Reading what needs are worked out of: a fixed number of statements, whatever there is."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Date,
    String,
    bindparam,
    case,
    cast,
    func,
    literal,
    null,
    or_,
    select,
    union_all,
)
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.reservations.queries import reserved_of
from app.green.tables import Delivery, GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.recipes.rules import Component
from app.packing.recipes.tables import Recipe
from app.packing.tables import Blend, Pack, Product
from app.production.rules import Cards, Coffee
from app.quality.rules import FREE
from app.roasting.queries import DISPOSITION
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind, Roast
from app.sending.orders.queries import OpenLine, open_lines
from app.sending.standing.queries import still_to_call
from app.sending.tables import Returned
from app.shared.names import fold_name
from app.shared.periods import Period
from app.standards.crop_years import CropYears, crop_years


class Lot(NamedTuple):
    """A lot of which something can still be promised."""

    code: str
    crop: CropYears | None
    arrived_at: datetime
    id: int
    free_g: int


class Standing(NamedTuple):
    """Bags of a product on a date of a standing order that was not called off yet."""

    code: str
    on: date
    sku: str
    bags: int


class Demand(NamedTuple):
    """What is wanted until the end of a period."""

    lines: Sequence[OpenLine]
    """Of orders, the late ones too."""
    standing: Sequence[Standing]


def demand_of(session: Session, period: Period) -> Demand:
    """Read what orders and standing orders want."""
    standing = [
        Standing(card.code, day, str(line["product"]), int(line["bags"]))
        for card, day in still_to_call(session, *period)
        for line in card.lines
    ]
    return Demand(open_lines(session, period.last), standing)


def _free(kind: UnitKind) -> tuple[ColumnElement[bool], ...]:
    """Tell in a statement over `unit` what is there of a kind and not held.

    The kind is said though a join implies it: SQLite else asks of every sack whether it is held.
    """
    return col(Unit.kind) == kind, col(Unit.left_g) > 0, ~_HELD


_HELD: Final = on_hold(col(Unit.id))
_ON_HAND: Final[CompoundSelect[*tuple[Any, ...]]] = union_all(
    select(
        literal("bags"), col(Pack.product_id), cast(null(), String), col(Unit.left_g),
        col(Pack.nominal_g),
    )
    .join(Unit, col(Unit.id) == col(Pack.unit_id))
    .where(
        or_(
            col(Pack.best_before).is_(None), col(Pack.best_before) >= bindparam("first", type_=Date)
        )
    )
    .where(*_free(UnitKind.PACK)),
    select(
        literal("bags"), col(Returned.product_id), cast(null(), String), col(Unit.left_g),
        col(Returned.nominal_g),
    )
    .join(Unit, col(Unit.id) == col(Returned.unit_id))
    .where(*_free(UnitKind.RETURN)),
    select(literal("style"), col(Roast.style_id), col(Roast.style), col(Unit.left_g), literal(1))
    .join(Unit, col(Unit.id) == col(Roast.unit_id))
    .where(*_free(UnitKind.ROAST))
    .where(DISPOSITION.in_(FREE)),
    select(
        literal("recipe"), col(Blend.recipe_id), col(Blend.recipe), col(Unit.left_g), literal(1)
    )
    .join(Unit, col(Unit.id) == col(Blend.unit_id))
    .where(*_free(UnitKind.BLEND)),
)  # fmt: skip
"""What is made already. Built once: every look ahead asks."""


def cards_of(recipes: Sequence[Recipe], styles: Sequence[Style]) -> Cards:
    """Bring cards to the form in which needs are worked out."""
    return Cards(
        {
            recipe.name_key: [
                Component(str(part["name"]), int(part["share_milli"])) for part in recipe.components
            ]
            for recipe in recipes
        },
        {style.name_key for style in styles},
    )


class OnHand(NamedTuple):
    """What is made already and may be used."""

    bags: Mapping[int, int]
    """By product: not held, and not past their date."""
    roasted: Mapping[Coffee, int]
    """Grams that may be packed: released, not held."""


def on_hand(
    session: Session, first: date, recipes: Sequence[Recipe], styles: Sequence[Style]
) -> OnHand:
    """Add up what is packed, with dates on or after a day, and what is roasted."""
    keys = {("recipe", recipe.id): recipe.name_key for recipe in recipes}
    keys |= {("style", style.id): style.name_key for style in styles}
    bags: Counter[int] = Counter()
    roasted: Counter[Coffee] = Counter()
    for noun, card_id, word, left_g, each_g in session.execute(_ON_HAND, {"first": first}):
        if noun == "bags":
            bags[card_id] += left_g // each_g
        else:
            roasted[Coffee(noun, keys.get((noun, card_id)) or fold_name(word or ""))] += left_g
    return OnHand(bags, roasted)


def lots_on_hand(session: Session) -> Sequence[Lot]:
    """Read lots with what can be promised of each: the oldest crop, then the oldest arrival."""
    lot = aliased(Unit)
    free = case((on_hold(col(Unit.id)), 0), else_=col(Unit.left_g))
    rows = session.execute(
        select(
            col(Sack.lot_id),
            col(lot.code).label("code"),
            col(GreenLot.crop_year),
            col(Entry.happened_at),
            func.sum(free).label("free_g"),
        )
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .where(col(Unit.left_g) > 0)
        .group_by(col(Sack.lot_id), col(lot.code), col(GreenLot.crop_year), col(Entry.happened_at))
    ).all()
    reserved = reserved_of(session, [row.lot_id for row in rows])
    lots = [
        Lot(
            row.code,
            crop_years(row.crop_year) if row.crop_year else None,
            row.happened_at,
            row.lot_id,
            max(int(row.free_g) - reserved.get(row.lot_id, 0), 0),
        )
        for row in rows
    ]
    return sorted(lots, key=_age)


def _age(lot: Lot) -> tuple[bool, CropYears, datetime, int]:
    return lot.crop is None, lot.crop or CropYears(0, 0), lot.arrived_at, lot.id


def products(session: Session) -> Sequence[Product]:
    """Read every product."""
    return session.scalars(select(Product)).all()


def roasters(session: Session) -> Sequence[Machine]:
    """Read every roaster."""
    return session.scalars(select(Machine).where(col(Machine.kind) == MachineKind.ROASTER)).all()
