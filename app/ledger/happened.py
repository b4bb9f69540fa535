"""The book by when things happened, whenever it learnt of them (`then.py` is the other time)."""

from datetime import datetime

from sqlalchemy import ColumnElement, Subquery, func, select, union_all
from sqlalchemy.orm import aliased
from sqlmodel import col

from app.ledger.tables import Adjustment, Entry, Flow, Unit
from app.shared.db import AnySelect


def not_taken_back() -> ColumnElement[bool]:
    """Tell in a statement whether an adjustment stands."""
    back = aliased(Adjustment)
    return col(Adjustment.reverses_id).is_(None) & ~(
        select(col(back.id)).where(col(back.reverses_id) == col(Adjustment.id)).exists()
    )


def gone_since(moment: datetime) -> Subquery:
    """Build what units lost from a moment on: `id` and `grams`, one row a unit.

    Put back on what is left now it says what was left then. What was voided never was. So the work
    grows with the days since and not with the age of the book.
    """
    made, maker, told = aliased(Unit), aliased(Entry), aliased(Entry)
    used: AnySelect = (
        select(col(Flow.source_id).label("id"), col(Flow.grams).label("grams"))
        .join(made, col(made.id) == col(Flow.target_id))
        .join(maker, col(maker.id) == col(made.born_entry_id))
        .where(col(made.voided_entry_id).is_(None), col(maker.happened_at) >= moment)
    )
    changed = (
        select(col(Adjustment.unit_id), -col(Adjustment.grams))
        .join(told, col(told.id) == col(Adjustment.entry_id))
        .where(not_taken_back(), col(told.happened_at) >= moment)
    )
    each = union_all(used, changed).subquery()
    return select(each.c.id, func.sum(each.c.grams).label("grams")).group_by(each.c.id).subquery()
