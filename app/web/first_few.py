"""The first few of what waits, with how many there are: all that somebody may see read at once.

Each line of `_WAITS` is one sort of what waits, as the part of the house that knows it selects it.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from functools import cache
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    BigInteger,
    BindParameter,
    ColumnElement,
    CompoundSelect,
    Date,
    String,
    Subquery,
    bindparam,
    cast,
    func,
    literal,
    null,
    select,
    type_coerce,
    union_all,
)
from sqlalchemy.types import TypeEngine
from sqlmodel import Session, col

from app.copies.queries import last_safe
from app.green.arrivals.checklist import unfinished
from app.green.counting.queries import undecided
from app.ledger.tables import Hold, HoldRelease
from app.recall.drills.queries import last_completed
from app.roasting.batches.queries import still_planned
from app.roasting.queries import SET_ASIDE
from app.sending.orders.queries import open_orders
from app.shared.days import today_here
from app.shared.db import AnySelect
from app.shared.times import UtcDateTime
from app.web.bringing import to_bring
from app.web.putting_away import lots_waiting

LINES: Final = 5
"""So many are named beside each; the number says how many there are."""

_SHOWN: Final[Mapping[str, TypeEngine[Any]]] = {
    "code": String(), "words": String(), "more": String(), "grams": BigInteger(), "day": Date(),
    "at": UtcDateTime(),
}  # fmt: skip
"""What a row may show."""


class _Waits(NamedTuple):
    """A sort of what waits, by the names of the columns of what is found."""

    found: Callable[[], AnySelect]
    order: str
    """By what the first come first."""
    shown: Mapping[str, str]
    counted: str | None = None
    """What is added up to how many there are, where it is not the number of rows."""
    newest_first: bool = False


def _open_holds() -> AnySelect:
    return (
        select(col(Hold.id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .where(col(HoldRelease.hold_id).is_(None))
    )


def _day(name: str) -> BindParameter[date]:
    return bindparam(name, type_=Date())


_WAITS: Final[Mapping[str, _Waits]] = {
    "homeless": _Waits(
        lots_waiting, "id", {"code": "code", "words": "name", "grams": "grams"}, "sacks",
        newest_first=True,
    ),
    "unfinished": _Waits(unfinished, "id", {"code": "code", "words": "name", "more": "step"}),
    "to bring": _Waits(
        lambda: to_bring(_day("today")), "id",
        {"code": "code", "words": "stands_at", "grams": "grams"},
    ),
    "orders": _Waits(
        lambda: open_orders(_day("tomorrow")), "due_on",
        {"code": "code", "words": "name", "day": "due_on"},
    ),
    "set aside": _Waits(
        lambda: SET_ASIDE, "id", {"code": "code", "words": "style", "grams": "left_g"}
    ),
    "batches": _Waits(
        lambda: still_planned(_day("today")), "id",
        {"code": "id", "words": "style", "more": "machine"},
    ),
    "holds": _Waits(_open_holds, "id", {}),
    "counts": _Waits(undecided, "id", {"code": "of_what", "words": "closed_by", "more": "id"}),
    "drill": _Waits(last_completed, "completed_at", {"at": "completed_at"}),
    "backup": _Waits(last_safe, "since", {"at": "since"}),
}  # fmt: skip


def first_few(session: Session, names: Sequence[str]) -> Mapping[str, Sequence[Any]]:
    """Read the first few of each of these sorts; each row says in `of` how many there are."""
    found: dict[str, list[Any]] = {name: [] for name in names}
    if names:
        today = today_here()
        days = {"today": today, "tomorrow": today + timedelta(days=1)}
        for row in session.execute(_at_once(tuple(names)), days):
            found[row.what].append(row)
    return found


@cache
def _at_once(names: Sequence[str]) -> CompoundSelect[*tuple[Any, ...]]:
    return union_all(*(_few(name, _WAITS[name]) for name in names)).order_by("what", "place")


def _few(name: str, waits: _Waits) -> AnySelect:
    found = waits.found().subquery()
    first = [found.c[waits.order], *([found.c.id] if "id" in found.c else [])]
    ordered = [each.desc() for each in first] if waits.newest_first else first
    number = func.sum(found.c[waits.counted]) if waits.counted else func.count()
    ranked = select(
        found,
        func.row_number().over(order_by=ordered).label("place"),
        number.over().label("of"),
    ).subquery()
    return select(
        literal(name).label("what"), ranked.c.place, ranked.c.of,
        *(_column(ranked, waits.shown.get(each), kind).label(each)
          for each, kind in _SHOWN.items()),
    ).where(ranked.c.place <= LINES)  # fmt: skip


def _column(rows: Subquery, name: str | None, kind: TypeEngine[Any]) -> ColumnElement[Any]:
    if name is None:
        return cast(null(), kind)
    column = rows.c[name]
    # A number may be a code here; a day is never cast, for SQLite would make a number of it.
    return cast(column, kind) if isinstance(kind, String) else type_coerce(column, kind)
