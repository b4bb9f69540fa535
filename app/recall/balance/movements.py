"""Movements of coffee as rows of term, entry and grams, for the database to add up.

An adjustment stands under the entry it was first booked by, with what reversed it taken off: so
what was voided adds up to nothing and drops out, whenever it was voided.
"""

from functools import cache

from sqlalchemy import CTE, ColumnElement, and_, case, func, literal, or_, select, union_all
from sqlalchemy.orm import aliased
from sqlalchemy.sql.selectable import Subquery
from sqlmodel import col

from app.ledger.tables import Adjustment, Entry, Flow, Unit, UnitKind
from app.recall.balance.rules import LOST, OTHERWISE, USED
from app.shared.db import AnySelect


def members(unit_id: int) -> CTE:
    """Name a unit with what is part of it: sacks of a lot, bags of a pack that came back."""
    parts = (
        select(col(Unit.id).label("id"), col(Unit.kind).label("kind"))
        .where(col(Unit.id) == unit_id)
        .cte("parts", recursive=True)
    )
    part = aliased(Unit)
    belongs = or_(
        and_(parts.c.kind == UnitKind.LOT, col(part.kind) == UnitKind.SACK),
        col(part.kind) == UnitKind.RETURN,
    )
    return parts.union(
        select(col(part.id), col(part.kind))
        .join(Flow, col(Flow.target_id) == col(part.id))
        .join(parts, parts.c.id == col(Flow.source_id))
        .where(belongs, col(part.voided_entry_id).is_(None))
    )


def out_of(parts: CTE) -> Subquery:
    """Gather what went out of units, and what was adjusted: grams above zero went out."""
    made = aliased(Unit)
    ids = select(parts.c.id)
    flows = (
        select(
            case(USED, value=col(made.kind), else_=OTHERWISE).label("term"),
            col(made.born_entry_id).label("entry"),
            col(Flow.grams).label("grams"),
        )
        .join(made, col(made.id) == col(Flow.target_id))
        .where(col(Flow.source_id).in_(ids), col(made.id).not_in(ids))
        .where(col(made.voided_entry_id).is_(None))
    )
    adjusted = _adjusted(col(Adjustment.unit_id).in_(ids)).subquery()
    return union_all(
        flows, select(adjusted.c.reason, adjusted.c.entry, -adjusted.c.grams)
    ).subquery("movements")


def _adjusted(which: ColumnElement[bool]) -> AnySelect:
    """Net adjustments by the entry that first booked them, unit and reason."""
    origin = aliased(Adjustment)
    # A correction undoes what one entry adjusted and adjusts anew: only what says so is undone.
    # Voids of before adjustments named what they reverse undid all that their entry names.
    undone = case((col(Entry.kind) == "void", col(Entry.reverses_id)))
    first = func.coalesce(col(origin.entry_id), undone, col(Entry.id))
    return (
        select(
            first.label("entry"),
            col(Adjustment.unit_id).label("unit_id"),
            col(Adjustment.reason).label("reason"),
            func.sum(col(Adjustment.grams)).label("grams"),
        )
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .outerjoin(origin, col(origin.id) == col(Adjustment.reverses_id))
        .where(which)
        .group_by(first, col(Adjustment.unit_id), col(Adjustment.reason))
        .having(func.sum(col(Adjustment.grams)) != 0)
    )


def of_the_house() -> Subquery:
    """Gather what changes the coffee in the house: grams above zero came in, below went out."""
    return union_all(_received(), _sent(), _lost(), _adjusted_here()).subquery("movements")


@cache
def _received() -> AnySelect:
    return (
        select(
            literal("received").label("term"),
            col(Entry.id).label("entry"),
            col(Entry.happened_at).label("at"),
            col(Unit.made_g).label("grams"),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.kind) == UnitKind.LOT, col(Unit.voided_entry_id).is_(None))
    )


@cache
def _sent() -> AnySelect:
    return (
        select(literal("sent"), col(Entry.id), col(Entry.happened_at), -col(Unit.made_g))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.kind) == UnitKind.DISPATCH, col(Unit.voided_entry_id).is_(None))
    )


@cache
def _lost() -> AnySelect:
    lost = func.sum(col(Flow.grams)) - col(Unit.made_g)
    return (
        select(case(LOST, value=col(Unit.kind)), col(Entry.id), col(Entry.happened_at), -lost)
        .select_from(Unit)
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .where(col(Unit.kind).in_(list(LOST)), col(Unit.voided_entry_id).is_(None))
        .group_by(
            col(Unit.id), col(Unit.kind), col(Unit.made_g), col(Entry.id), col(Entry.happened_at)
        )
        .having(lost != 0)
    )


@cache
def _adjusted_here() -> AnySelect:
    """Adjust what is in the house; bags that came back come in."""
    net = _adjusted(col(Adjustment.id) > 0).subquery()
    return (
        select(net.c.reason, col(Entry.id), col(Entry.happened_at), net.c.grams)
        .join(Entry, col(Entry.id) == net.c.entry)
        .join(Unit, col(Unit.id) == net.c.unit_id)
        .where(col(Unit.kind) != UnitKind.DISPATCH, col(Unit.voided_entry_id).is_(None))
    )
