"""Mass balances, added up by the database in whole grams."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, Subquery, func, select, true
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
    terms, behind = _added_up(session, moved, true(), limit)
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


def _added_up(
    session: Session, moved: Subquery, within: ColumnElement[bool], limit: int
) -> tuple[list[Term], Behind]:
    """Add up by term what lies within, with the first entries behind each: in one reading."""
    by_entry = (
        select(moved.c.term, moved.c.entry, func.sum(moved.c.grams).label("grams"))
        .where(within)
        .group_by(moved.c.term, moved.c.entry)
        .subquery()
    )
    term = by_entry.c.term
    listed = select(
        term, by_entry.c.entry, by_entry.c.grams,
        func.row_number().over(partition_by=term, order_by=by_entry.c.entry).label("place"),
        func.sum(by_entry.c.grams).over(partition_by=term).label("whole"),
        func.count().over(partition_by=term).label("entries"),
    ).subquery()  # fmt: skip
    rows = session.execute(
        select(listed)
        .where(listed.c.place <= max(limit, 1))
        .order_by(listed.c.term, listed.c.entry)
    )
    terms: list[Term] = []
    behind: dict[str, list[EntryGrams]] = defaultdict(list)
    for name, entry, grams, place, whole, entries in rows:
        if place == 1:
            terms.append(Term(str(name), int(whole), entries))
        if place <= limit:
            behind[str(name)].append(EntryGrams(entry=entry, grams=int(grams)))
    return terms, behind


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
    terms, behind = _added_up(session, moved, within, limit)
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
    # Either side by itself, so that the index of when things happened leads to what is few.
    after_g = session.scalar(select(func.sum(moved.c.grams)).where(moved.c.at > until))
    before_g = 0
    if since is not None:
        before = select(func.sum(moved.c.grams)).where(moved.c.at < since)
        before_g = int(session.scalar(before) or 0)
    here = session.scalar(
        select(func.sum(col(Unit.left_g)))
        .where(col(Unit.left_g) > 0, col(Unit.voided_entry_id).is_(None))
        .where(col(Unit.kind) != UnitKind.DISPATCH)
    )
    return Stocks(before_g, int(here or 0) - int(after_g or 0))
