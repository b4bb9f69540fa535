"""Mass balances, added up by the database in whole grams."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, Subquery, case, func, select, true
from sqlmodel import Session, col

from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Flow, Unit, UnitKind
from app.recall.balance.movements import members, of_the_house, out_of
from app.recall.balance.rules import CAME_IN, LOST, Term, closing
from app.recall.balance.schemas import (
    BalancedUnit,
    BalanceOfPeriod,
    BalanceOfUnit,
    EntryGrams,
    TermOut,
)
from app.shared.db import AnySelect
from app.shared.problems import Refused
from app.shared.shares import percent
from app.shared.times import now
from app.tracing.queries import CAUTION

Behind = Mapping[str, Sequence[EntryGrams]]
"""The first entries behind each term."""


def balance_of(session: Session, code: str, limit: int) -> BalanceOfUnit:
    """Account for everything a unit was: what came in is left, used, lost, sent or adjusted."""
    unit = live(unit_by_code(session, code))
    parts = members(unit.id)
    whole = session.execute(
        select(func.sum(col(Unit.left_g)), func.count())
        .where(col(Unit.id).in_(select(parts.c.id)))
    ).one()  # fmt: skip
    left_g, units = int(whole[0]), int(whole[1])
    flowed_g = session.scalar(
        select(func.sum(col(Flow.grams))).where(col(Flow.target_id) == unit.id)
    )
    came_in_g = int(flowed_g) if flowed_g is not None else unit.made_g
    moved = out_of(parts)
    terms = _terms(session, moved, true())
    behind = _behind(session, moved, true(), limit)
    lost = Term(LOST.get(unit.kind, "lost"), came_in_g - unit.made_g, 1)
    if lost.grams:
        terms = [lost, *terms]
        behind = {**behind, lost.term: _born(unit, lost.grams, limit)}
    came_in = Term(CAME_IN.get(unit.kind, "came_in"), came_in_g, 1)
    left_over = closing(came_in_g, [left_g, *(term.grams for term in terms)])
    return BalanceOfUnit(
        of=BalancedUnit(code=unit.code, kind=unit.kind),
        units=units,
        came_in=_shown(came_in, came_in_g, {came_in.term: _born(unit, came_in_g, limit)}),
        left_g=left_g,
        terms=[_shown(term, came_in_g, behind) for term in terms],
        difference_g=left_over.difference_g,
        difference_pct=left_over.difference_pct,
        caution=CAUTION,
    )


def _born(unit: Unit, grams: int, limit: int) -> list[EntryGrams]:
    return [EntryGrams(entry=unit.born_entry_id, grams=grams)][:limit]


def _terms(session: Session, moved: Subquery, within: ColumnElement[bool]) -> list[Term]:
    """Add up by term what lies within."""
    rows = session.execute(
        select(
            moved.c.term, func.sum(moved.c.grams), func.count(func.distinct(moved.c.entry))
        )
        .where(within)
        .group_by(moved.c.term)
        .order_by(moved.c.term)
    )  # fmt: skip
    return [Term(str(term), int(grams), count) for term, grams, count in rows]


def _behind(
    session: Session, moved: Subquery, within: ColumnElement[bool], limit: int
) -> dict[str, Sequence[EntryGrams]]:
    """Read the first entries behind each term."""
    place = func.row_number().over(partition_by=moved.c.term, order_by=moved.c.entry)
    listed = (
        select(
            moved.c.term, moved.c.entry, func.sum(moved.c.grams).label("grams"),
            place.label("place"),
        )
        .where(within)
        .group_by(moved.c.term, moved.c.entry)
        .subquery()
    )  # fmt: skip
    rows = session.execute(
        select(listed.c.term, listed.c.entry, listed.c.grams)
        .where(listed.c.place <= limit)
        .order_by(listed.c.term, listed.c.entry)
    )
    found: dict[str, list[EntryGrams]] = defaultdict(list)
    for term, entry, grams in rows:
        found[str(term)].append(EntryGrams(entry=entry, grams=int(grams)))
    return dict(found)


def _shown(term: Term, whole_g: int, behind: Behind, sign: int = 1) -> TermOut:
    return TermOut(
        term=term.term,
        grams=sign * term.grams,
        share_pct=percent(sign * term.grams, whole_g) if whole_g else None,
        entries_count=term.entries,
        entries=[
            EntryGrams(entry=each.entry, grams=sign * each.grams)
            for each in behind.get(term.term, ())
        ],
    )


class Stocks(NamedTuple):
    """Coffee in the house: by the entries before the period, and by what is there after it."""

    opening_g: int
    closing_g: int


def balance_between(
    session: Session, since: datetime | None, until: datetime | None, limit: int
) -> BalanceOfPeriod:
    """Account for a period, both ends included, by when things happened.

    The opening stock is added up from the entries before it; the closing one is what is there now
    less what came after. So the difference is a check of the whole book.
    """
    until = until or now()
    if since is not None and since > until:
        said = "from is later than to"
        raise Refused("invalid", said, errors=[{"parameter": "from", "detail": said}])
    moved = of_the_house()
    within = moved.c.at <= until
    if since is not None:
        within &= moved.c.at >= since
    terms = _terms(session, moved, within)
    behind = _behind(session, moved, within, limit)
    stocks = _stocks(session, moved, since, until)
    incoming = [term for term in terms if term.term in {"received", "returned"}]
    outgoing = [term for term in terms if term not in incoming]
    came_in_g = stocks.opening_g + sum(term.grams for term in incoming)
    left_over = closing(came_in_g, [stocks.closing_g, *(-term.grams for term in outgoing)])
    return BalanceOfPeriod(
        since=since,
        until=until,
        opening_g=stocks.opening_g,
        came_in=[_shown(term, came_in_g, behind) for term in incoming],
        went_out=[_shown(term, came_in_g, behind, -1) for term in outgoing],
        closing_g=stocks.closing_g,
        difference_g=left_over.difference_g,
        difference_pct=left_over.difference_pct,
        caution=CAUTION,
    )


def _stocks(session: Session, moved: Subquery, since: datetime | None, until: datetime) -> Stocks:
    after = case((moved.c.at > until, moved.c.grams), else_=0)
    sums: AnySelect = select(func.sum(after))
    if since is not None:
        sums = sums.add_columns(func.sum(case((moved.c.at < since, moved.c.grams), else_=0)))
    row = session.execute(sums).one()
    here = session.scalar(
        select(func.sum(col(Unit.left_g)))
        .where(col(Unit.left_g) > 0, col(Unit.voided_entry_id).is_(None))
        .where(col(Unit.kind) != UnitKind.DISPATCH)
    )
    opening_g = int(row[1] or 0) if since is not None else 0
    return Stocks(opening_g, int(here or 0) - int(row[0] or 0))
