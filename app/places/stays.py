"""Stays: what stood at a place, from the move that brought it to the one that took it away.

A stay begins with the move that brought the unit and ends with the next one, or when the last of it
was used or taken out. A place that coffee ever stood at keeps its place in the tree, so what stood
below it then is what is below it now.
"""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Row, exists, func, or_, select, true
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import card_at, named
from app.ledger.tables import Adjustment, Entry, Flow, Reason, Unit, UnitKind
from app.ledger.then import alive, left_then
from app.ledger.walk import read_whole
from app.places.actions import LOCATIONS
from app.places.tables import Location, Move
from app.places.tree import below
from app.shared.db import AnySelect, IdColumn, among
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text


class Window(NamedTuple):
    """A time, both ends included; None where it is open."""

    since: datetime | None
    until: datetime | None


def stood_at(
    session: Session,
    code: str,
    window: Window,
    *,
    with_parts: bool = True,
    upto: int | None = None,
) -> Sequence[Unit]:
    """Find what stood at a place, or below it, during a time, by what the book had by then."""
    place = named(session, LOCATIONS, code, "#/location")
    assert place.id is not None  # noqa: S101 - read from the database
    stays = _stays(_at(place.id, with_parts=with_parts), window, upto)
    found = select(stays.subquery().c.unit_id)
    units = select(Unit).where(col(Unit.id).in_(found)).order_by(col(Unit.id))
    standing = read_whole(session, units)
    if not standing:
        raise Refused("not-found", f"Nothing stood at {place.code} during that time.")
    return standing


def stay_page(
    session: Session, page: Page, code: str, window: Window, *, with_parts: bool
) -> PageOf:
    """Read stays at a place, or below it, in the order in which they were booked."""
    if window.since and window.until and window.since > window.until:
        said = "from is later than to"
        raise Refused("invalid", said, errors=[{"parameter": "from", "detail": said}])
    place = card_at(session, LOCATIONS, code)
    assert place.id is not None  # noqa: S101 - read from the database
    statement = _stays(_at(place.id, with_parts=with_parts), window)
    rows, following = turn_page(session, statement, col(Move.id), page)
    return [_line(row) for row in rows], following


def _line(row: Row[Any]) -> dict[str, object]:
    went, went_at = _end(row)
    return {
        "id": row.id, "unit": row.code, "kind": row.kind, "location": row.location,
        "came_at": text(row.came_at), "went_at": text(went_at) if went_at else None, "went": went,
    }  # fmt: skip


def _end(row: Row[Any]) -> tuple[str | None, datetime | None]:
    """Tell how a stay ended, and when: what comes first of moving on and of being used up."""
    used_up = None
    if row.left_g == 0:
        used_up = max((at for at in (row.last_use, row.last_adjustment) if at), default=None)
    ends = {how: at for how, at in (("moved", row.moved_on), ("used_up", used_up)) if at}
    went = min(ends, key=lambda how: ends[how], default=None)
    return went, ends[went] if went else None


class Stay(NamedTuple):
    """A unit at a place, from the move with that number on."""

    move_id: int
    unit_id: int
    code: str
    kind: UnitKind
    place_id: int
    came_at: datetime
    went_at: datetime | None


def stays_at(session: Session, place_ids: Collection[int], upto: int | None = None) -> list[Stay]:
    """Read every stay at these very places, in the order in which they were booked."""
    here = among(session, col(Move.to_id), place_ids)
    rows = session.execute(_stays(here, Window(None, None), upto).order_by(col(Move.id)))
    return [
        Stay(
            row.id, row.unit_id, row.code, UnitKind(row.kind), row.to_id, row.came_at, _end(row)[1]
        )
        for row in rows
    ]


def _at(place_id: int, *, with_parts: bool) -> ColumnElement[bool]:
    if with_parts:
        return col(Move.to_id).in_(select(below(place_id).c.id))
    return col(Move.to_id) == place_id


def _stays(here: ColumnElement[bool], window: Window, upto: int | None = None) -> AnySelect:
    """Select the stays of live units, one a row."""
    next_move, coming, leaving, leave = (
        aliased(Move), aliased(Entry), aliased(Entry), aliased(Move),
    )  # fmt: skip
    left_by = (
        select(func.min(col(next_move.id)))
        .where(col(next_move.unit_id) == col(Move.unit_id), col(next_move.id) > col(Move.id))
        .where(_known(col(next_move.entry_id), upto))
        .correlate(Move)
        .scalar_subquery()
    )
    last_use, last_adjustment = _last_use(upto), _last_adjustment(upto)
    left_g = col(Unit.left_g) if upto is None else left_then(upto)
    statement: AnySelect = (
        select(
            col(Move.id),
            col(Move.unit_id),
            col(Move.to_id),
            col(Unit.code),
            col(Unit.kind),
            left_g.label("left_g"),
            col(Location.code).label("location"),
            col(coming.happened_at).label("came_at"),
            col(leaving.happened_at).label("moved_on"),
            last_use.label("last_use"),
            last_adjustment.label("last_adjustment"),
        )
        .join(Unit, col(Unit.id) == col(Move.unit_id))
        .join(Location, col(Location.id) == col(Move.to_id))
        .join(coming, col(coming.id) == col(Move.entry_id))
        .outerjoin(leave, col(leave.id) == left_by)
        .outerjoin(leaving, col(leaving.id) == col(leave.entry_id))
        .where(here)
        .where(alive(Unit, upto), _known(col(Move.entry_id), upto))
    )
    if window.until is not None:
        statement = statement.where(col(coming.happened_at) <= window.until)
    if window.since is not None:
        since = window.since
        statement = statement.where(
            or_(col(leaving.happened_at).is_(None), col(leaving.happened_at) >= since),
            or_(left_g > 0, last_use >= since, last_adjustment >= since),
        )
    return statement


def _known(entry_id: IdColumn, upto: int | None) -> ColumnElement[bool]:
    """Tell in a statement whether the book had an entry by then."""
    return true() if upto is None else entry_id <= upto


def _last_use(upto: int | None) -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    user, use = aliased(Unit), aliased(Entry)
    return (
        select(func.max(col(use.happened_at)))
        .join(user, col(user.born_entry_id) == col(use.id))
        .join(Flow, col(Flow.target_id) == col(user.id))
        .where(col(Flow.source_id) == col(Unit.id), alive(user, upto))
        .where(col(user.kind) != UnitKind.RETURN)  # bags that came back had left before
        .correlate(Unit)
        .scalar_subquery()
    )


def _last_adjustment(upto: int | None) -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    entry, reversal = aliased(Entry), aliased(Adjustment)
    taken_back = exists(
        select(col(reversal.id))
        .where(col(reversal.reverses_id) == col(Adjustment.id))
        .where(_known(col(reversal.entry_id), upto))
        .correlate(Adjustment)
    )
    return (
        select(func.max(col(entry.happened_at)))
        .join(Adjustment, col(Adjustment.entry_id) == col(entry.id))
        .where(col(Adjustment.unit_id) == col(Unit.id))
        .where(col(Adjustment.reason) != Reason.RETURNED, _known(col(entry.id), upto))
        .where(col(Adjustment.reverses_id).is_(None), ~taken_back)  # neither ever was
        .correlate(Unit)
        .scalar_subquery()
    )
