"""What was in the house at the end of a day."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Adjustment, Entry, Flow, Unit, UnitKind
from app.value.flows import not_taken_back


def begin_of(day: date) -> datetime:
    """Name the moment at which a day begins, in UTC as everywhere in the book."""
    return datetime.combine(day, time(), UTC)


def end_of(day: date) -> datetime:
    """Name the moment at which a day is over."""
    return begin_of(day) + timedelta(days=1)


class There(NamedTuple):
    """What was left of a unit."""

    unit_id: int
    code: str
    kind: UnitKind
    left_g: int


def there_before(session: Session, until: datetime) -> Sequence[There]:
    """Read every unit in the house with what was left of it, by when things happened.

    What was voided never was. What happened since is put back on what is left now, so that the
    work grows with the days since and not with the age of the book.
    """
    made, maker, told = aliased(Unit), aliased(Entry), aliased(Entry)
    used = (
        select(col(Flow.source_id).label("id"), func.sum(col(Flow.grams)).label("grams"))
        .join(made, col(made.id) == col(Flow.target_id))
        .join(maker, col(maker.id) == col(made.born_entry_id))
        .where(col(made.voided_entry_id).is_(None), col(maker.happened_at) >= until)
        .group_by(col(Flow.source_id))
        .subquery()
    )
    changed = (
        select(col(Adjustment.unit_id).label("id"), func.sum(col(Adjustment.grams)).label("grams"))
        .join(told, col(told.id) == col(Adjustment.entry_id))
        .where(not_taken_back(), col(told.happened_at) >= until)
        .group_by(col(Adjustment.unit_id))
        .subquery()
    )
    left = (
        col(Unit.left_g) + func.coalesce(used.c.grams, 0) - func.coalesce(changed.c.grams, 0)
    )  # fmt: skip
    rows = session.execute(
        select(col(Unit.id), col(Unit.code), col(Unit.kind), left)
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(used, used.c.id == col(Unit.id))
        .outerjoin(changed, changed.c.id == col(Unit.id))
        .where(col(Unit.voided_entry_id).is_(None), col(Unit.kind) != UnitKind.DISPATCH)
        .where(col(Entry.happened_at) < until, left != 0)
        .order_by(col(Unit.id))
    )
    return [There(number, code, UnitKind(kind), int(left_g)) for number, code, kind, left_g in rows]
