"""Following the flows: everything a unit was made of, or everything that was made of it."""

from collections.abc import Collection, Sequence, Sized
from typing import Final

from sqlalchemy import CTE, ColumnElement, Engine, Select, literal_column, select
from sqlmodel import Session, col

from app.ledger.tables import Flow, Unit, UnitKind
from app.shared.db import Among, AnySelect, OverIds, among
from app.shared.problems import Refused

_MOST: Final = "most_reached"
TOO_FAR: Final = "reaches-too-far"
"""The kind of refusal of what reaches more units than one request may."""


def bound_walks(engine: Engine, most: int) -> None:
    """Let whatever walks by this way to the database reach so many units at the most.

    The service is bound, for one request could take all of its memory; commands are not.
    """
    engine.update_execution_options(**{_MOST: most})


def most_reached(session: Session) -> int | None:
    """Tell how many units may be reached here; None where nobody set a bound."""
    most: int | None = session.connection().get_execution_options().get(_MOST)
    return most


def one_more_than(most: int | None) -> ColumnElement[int] | None:
    """Build the limit of a statement that tells by its rows whether there are more than may be.

    It is written out: a database that did not know it would plan for few rows.
    """
    return None if most is None else literal_column(str(most + 1))


def refuse_beyond(most: int | None, found: Sized) -> None:
    """Refuse what reaches more units than may be: a part of it would look like all of it."""
    if most is not None and len(found) > most:
        raise Refused(
            TOO_FAR,
            f"At least {len(found)} units are reached, and {most} are the most that one request "
            "may reach. Ask for fewer starts, a shorter time or fewer hops.",
            reached_at_least=len(found),
            most=most,
        )


def read_whole(session: Session, statement: Select[Unit]) -> Sequence[Unit]:
    """Read the units that a statement finds, all of them.

    Raises:
        Refused: `reaches-too-far` where they are more than one request may reach.
    """
    most = most_reached(session)
    found = session.scalars(statement.limit(one_more_than(most))).all()
    refuse_beyond(most, found)
    return found


def reach(session: Session, start: Collection[int], *, forward: bool) -> list[int]:
    """Name every unit reached, voided ones too, in one recursive statement."""
    return [row[0] for row in _reached.rows(session, start, forward)]


@OverIds
def _reached(among: Among, forward: bool) -> AnySelect:
    return select(reached_from(among(col(Unit.id)), forward=forward).c.id)


def lots_behind(session: Session, unit_ids: Collection[int]) -> list[int]:
    """Name every live lot these units were made of, oldest first; a lot is behind itself."""
    reached = reached_from(among(session, col(Unit.id), unit_ids), forward=False)
    rows = session.connection().execute(
        select(col(Unit.id))
        .join(reached, reached.c.id == col(Unit.id))
        .where(col(Unit.kind) == UnitKind.LOT, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    return [row[0] for row in rows]


def reached_from(start: ColumnElement[bool], *, forward: bool) -> CTE:
    """Build the walk from the units that meet a condition, for a statement of one's own."""
    return walk_from(select(col(Unit.id)).where(start), forward=forward)


def walk_from(start: AnySelect, *, forward: bool) -> CTE:
    """Build the walk from the units that a statement names.

    `UNION` drops what was reached before, so the work grows with the units and flows
    reached and not with the number of paths between them.
    """
    here, there = (
        (col(Flow.source_id), col(Flow.target_id))
        if forward
        else (col(Flow.target_id), col(Flow.source_id))
    )
    (first,) = start.selected_columns
    reached = start.with_only_columns(first.label("id")).cte("reached", recursive=True)
    return reached.union(select(there).join(reached, here == reached.c.id))
