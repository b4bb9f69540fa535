"""Reading what cover is worked out of: a fixed number of statements, whatever there is.

Of the two times of an entry it is `happened_at` that counts: coffee that was drawn on the 31st was
used on the 31st, though it may have been typed in on the 2nd. Holds and reservations have no such
time, for nobody can place one in the past; they count as they stand now.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Integer,
    Subquery,
    case,
    cast,
    func,
    literal,
    null,
    or_,
    select,
)
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.cover.rules import Slot, filled_by, slots_named
from app.green.reservations.queries import RESERVED_G
from app.green.tables import GreenLot, Sack
from app.ledger.happened import gone_since, not_taken_back
from app.ledger.tables import (
    Adjustment,
    CardVersion,
    Entry,
    Flow,
    HoldRelease,
    HoldUnit,
    Reason,
    Unit,
    UnitKind,
)
from app.places.tables import Location, Move, PlaceKind
from app.roasting.losses import losses_until, measured, yields_by
from app.roasting.styles.tables import Style
from app.roasting.tables import Roast
from app.roasting.yields import Yield
from app.settings import Settings
from app.shared.answers import read_json
from app.shared.days import begin_of, end_of, today_here
from app.shared.days_in_sql import day_in_sql
from app.shared.db import AnySelect, IdColumn, among
from app.shared.names import fold_name
from app.shared.times import UtcDateTime


class Lot(NamedTuple):
    """A lot by its code."""

    code: str
    name: str
    origin: str
    reserved_g: int


class Standing(NamedTuple):
    """What is left of a lot, at one place where places are told apart."""

    lot_id: int
    place_id: int | None
    on_hand_g: int
    held_g: int


class Draw(NamedTuple):
    """Green of a lot that was drawn into roasts of one style on one day."""

    lot_id: int
    place_id: int | None
    style_id: int | None
    style_version: int | None
    day: date
    grams: int

    @property
    def of(self) -> tuple[int | None, ...]:
        """What is the same of many days."""
        return self[:4]


class Loss(NamedTuple):
    """What a lot lost otherwise, gains taken off."""

    lot_id: int
    place_id: int | None
    sampled_g: int
    written_off_g: int


def _place_then(unit_id: IdColumn, moment: IdColumn) -> Any:  # noqa: ANN401 - as `left_then`
    """Build where a unit stood at a moment."""
    moved = aliased(Entry)
    return (
        select(col(Move.to_id))
        .join(moved, col(moved.id) == col(Move.entry_id))
        .where(col(Move.unit_id) == unit_id, col(moved.happened_at) <= moment)
        .order_by(col(Move.id).desc())
        .limit(1)
        .scalar_subquery()
    )


def _held() -> ColumnElement[bool]:
    """Tell in a statement over `sack` whether it, or its lot, is on hold."""
    open_holds = (
        select(col(HoldUnit.unit_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(HoldUnit.hold_id))
        .where(col(HoldRelease.hold_id).is_(None))
    )
    return or_(col(Sack.unit_id).in_(open_holds), col(Sack.lot_id).in_(open_holds))


def _left(day: date) -> tuple[AnySelect, Any]:
    """Build sacks with what was left of each at the end of a day."""
    if day >= today_here():
        there: AnySelect = (
            select(col(Sack.lot_id))
            .join(Unit, col(Unit.id) == col(Sack.unit_id))
            .where(col(Unit.left_g) > 0)
        )
        return there, col(Unit.left_g)
    over = end_of(day)
    gone = gone_since(over)
    left = col(Unit.left_g) + func.coalesce(gone.c.grams, 0)
    then: AnySelect = (
        select(col(Sack.lot_id))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(gone, gone.c.id == col(Unit.id))
        .where(col(Unit.voided_entry_id).is_(None), col(Entry.happened_at) < over, left > 0)
    )
    return then, left


def draws(session: Session, first: date, last: date, *, places: bool) -> Sequence[Draw]:
    """Add up by lot, style and day what was drawn into roasts."""
    place: Any = literal(None)
    if places:
        place = _place_then(col(Sack.unit_id), col(Entry.happened_at))
    each = (
        select(
            col(Sack.lot_id),
            place.label("place_id"),
            col(Roast.style_id),
            col(Roast.style_version),
            day_in_sql(col(Entry.happened_at), first, last).label("day"),
            col(Flow.grams),
        )
        .join(Unit, col(Unit.born_entry_id) == col(Entry.id))
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .join(Sack, col(Sack.unit_id) == col(Flow.source_id))
        .where(col(Unit.kind) == UnitKind.ROAST, col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(first), col(Entry.happened_at) < end_of(last))
        .subquery()
    )
    keys = (each.c.lot_id, each.c.place_id, each.c.style_id, each.c.style_version, each.c.day)
    rows = session.execute(select(*keys, func.sum(each.c.grams)).group_by(*keys))
    return [
        Draw(lot, at, style, version, day, int(grams))
        for lot, at, style, version, day, grams in rows
    ]


def losses(session: Session, first: date, last: date, *, places: bool) -> Sequence[Loss]:
    """Add up by lot what was sampled and what was written off."""
    place: Any = literal(None)
    if places:
        place = _place_then(col(Sack.unit_id), col(Entry.happened_at))
    each = (
        select(
            col(Sack.lot_id), place.label("place_id"), col(Adjustment.reason),
            col(Adjustment.grams),
        )
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .join(Sack, col(Sack.unit_id) == col(Adjustment.unit_id))
        .where(not_taken_back())
        .where(col(Entry.happened_at) >= begin_of(first), col(Entry.happened_at) < end_of(last))
        .subquery()
    )  # fmt: skip
    sampled = case((each.c.reason == Reason.SAMPLE, each.c.grams), else_=0)
    written_off = case((each.c.reason == Reason.SAMPLE, 0), else_=each.c.grams)
    rows = session.execute(
        select(each.c.lot_id, each.c.place_id, func.sum(sampled), func.sum(written_off))
        .group_by(each.c.lot_id, each.c.place_id)
    )  # fmt: skip
    return [Loss(lot, at, -int(sampled_g), -int(off_g)) for lot, at, sampled_g, off_g in rows]


def lots(
    session: Session, drawn: Collection[int], day: date, *, places: bool
) -> tuple[Mapping[int, Lot], Sequence[Standing]]:
    """Name lots with what is promised of each, and add up what was there at the end of a day.

    Those that were only drawn are named too.
    """
    there = _stock(day, places=places)
    rows = session.execute(
        select(
            col(Unit.id), col(Unit.code), col(GreenLot.name), col(GreenLot.origin), RESERVED_G,
            there.c.place_id, there.c.left_g, there.c.held_g,
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .outerjoin(there, there.c.lot_id == col(Unit.id))
        .where(or_(there.c.lot_id.is_not(None), among(session, col(Unit.id), drawn)))
    )  # fmt: skip
    found: dict[int, Lot] = {}
    stock: list[Standing] = []
    for lot, code, name, origin, reserved_g, place, left_g, held_g in rows:
        found[lot] = Lot(code, name, origin, int(reserved_g))
        if left_g is not None:
            stock.append(Standing(lot, place, int(left_g), int(held_g)))
    return found, stock


def _stock(day: date, *, places: bool) -> Subquery:
    """Add up by lot what was there at the end of a day."""
    sacks, left = _left(day)
    place: Any = cast(null(), Integer)
    if places:
        today = day >= today_here()
        over = literal(end_of(day), UtcDateTime())
        place = col(Unit.location_id) if today else _place_then(col(Unit.id), over)
    each = sacks.add_columns(
        place.label("place_id"), left.label("left_g"), _held().label("held")
    ).subquery()
    return (
        select(
            each.c.lot_id,
            each.c.place_id,
            func.sum(each.c.left_g).label("left_g"),
            func.sum(case((each.c.held, each.c.left_g), else_=0)).label("held_g"),
        )
        .group_by(each.c.lot_id, each.c.place_id)
        .subquery()
    )


def sites(session: Session) -> Mapping[int, str | None]:
    """Name the site of every place: the house it is in, else what it or what it is in says."""
    places = {
        place.id: place
        for place in session.execute(
            select(
                col(Location.id), col(Location.code), col(Location.kind), col(Location.site),
                col(Location.parent_id),
            )
        )
    }  # fmt: skip
    found: dict[int, str | None] = {}
    for number in places:
        way, said = number, None
        while True:
            place = places[way]
            said = said or place.site
            if place.kind == PlaceKind.SITE:
                said = place.code
            if place.parent_id is None:
                break
            way = place.parent_id
        found[number] = said
    return found


@dataclass(frozen=True)
class Styles:
    """The slots of styles, as they are and as they were when roasts were made."""

    cards: Sequence[Style]
    now: Mapping[int, Sequence[Slot]]
    then: Mapping[tuple[int, int], Sequence[Slot]]
    yields: Mapping[int, Yield]
    """What each gives, where that was asked for."""

    @cached_property
    def names(self) -> Mapping[str, str]:
        """Each component as the first style writes it, by its folded name."""
        found: dict[str, str] = {}
        for slots in self.now.values():
            for slot in slots:
                found.setdefault(fold_name(slot.component), slot.component)
        return found

    @cached_property
    def fills(self) -> Mapping[str, list[str]]:
        """The components that each lot can fill now, each once."""
        found: dict[str, dict[str, None]] = {}
        for slots in self.now.values():
            for slot in slots:
                for lot in slot.lots:
                    found.setdefault(lot, {})[self.called(slot.component)] = None
        return {lot: list(components) for lot, components in found.items()}

    def called(self, component: str) -> str:
        """Write the name of a component as the first style that has it does."""
        return self.names.get(fold_name(component), component)

    def component(self, draw: Draw, lot: str) -> str | None:
        """Name the component that a draw was for; None where its style has no such slot."""
        if draw.style_id is None:
            return None
        then = self.then.get((draw.style_id, draw.style_version or 0), [])
        found = filled_by(self.now.get(draw.style_id, []), then, lot)
        return None if found is None else self.called(found)


def styles(
    session: Session, drawn: Collection[Draw], settings: Settings, until: datetime | None
) -> Styles:
    """Read what the charges of styles are made of, and were when coffee was drawn for them.

    With a moment also what each gives, by the losses that were measured until then.
    """
    statement: AnySelect = select(Style).order_by(col(Style.id))
    if until is not None:
        lost = losses_until(until, settings)
        statement = statement.add_columns(*lost.c).outerjoin(lost, lost.c.style_id == col(Style.id))
    rows = session.execute(statement).all()
    cards = [row.Style for row in rows]
    as_it_is = {card.id: card.version for card in cards}
    changed = {
        draw.style_id
        for draw in drawn
        if draw.style_id and draw.style_version != as_it_is[draw.style_id]
    }
    return Styles(
        cards,
        {card.id or 0: slots_named(card.name, card.green) for card in cards},
        _slots_then(session, changed) if changed else {},
        {} if until is None else yields_by(cards, measured(row[1:] for row in rows), settings),
    )


def _slots_then(
    session: Session, style_ids: Collection[int]
) -> Mapping[tuple[int, int], Sequence[Slot]]:
    versions = session.execute(
        select(col(CardVersion.card_id), col(CardVersion.version), col(CardVersion.said))
        .where(col(CardVersion.noun) == "style", col(CardVersion.card_id).in_(style_ids))
    )  # fmt: skip
    then = {}
    for card_id, version, said in versions:
        card = read_json(said)
        green = card.get("green")
        then[card_id, version] = slots_named(
            card["name"],
            green and [{**slot, "share_milli": int(slot["share_pct"] * 1000)} for slot in green],
        )
    return then
