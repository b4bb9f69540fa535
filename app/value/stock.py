"""What was in the house at the end of a day."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.ledger.happened import gone_since
from app.ledger.tables import Entry, Unit, UnitKind


class There(NamedTuple):
    """What was left of a unit."""

    unit_id: int
    code: str
    kind: UnitKind
    left_g: int


def there_before(session: Session, until: datetime) -> Sequence[There]:
    """Read every unit in the house with what was left of it, by when things happened."""
    gone = gone_since(until)
    left = col(Unit.left_g) + func.coalesce(gone.c.grams, 0)
    rows = session.execute(
        select(col(Unit.id), col(Unit.code), col(Unit.kind), left)
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(gone, gone.c.id == col(Unit.id))
        .where(col(Unit.voided_entry_id).is_(None), col(Unit.kind) != UnitKind.DISPATCH)
        .where(col(Entry.happened_at) < until, left != 0)
        .order_by(col(Unit.id))
    )
    return [There(number, code, UnitKind(kind), int(left_g)) for number, code, kind, left_g in rows]
