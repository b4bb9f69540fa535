"""All that was written about a case: its steps, and what passed between house and consignees."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Integer,
    Subquery,
    Text,
    cast,
    literal,
    null,
    select,
    true,
    union_all,
)
from sqlmodel import Session, col

from app.ledger.tables import Entry
from app.recall.cases import case_at
from app.recall.rules import Reported
from app.recall.tables import (
    How,
    RecallAcknowledgement,
    RecallNotice,
    RecallReport,
    RecallStep,
)
from app.sending.tables import Customer
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


class Written(NamedTuple):
    """One thing that was written about a case, with the entry that wrote it."""

    entry: int
    what: str
    """The step, or `notice`, `acknowledgement`, `report`."""
    number: int
    """Of its sort."""
    customer: int | None
    how: str | None
    said: str | None
    name: str | None
    """The customer's."""
    at: datetime
    recorded_at: datetime
    by: str
    reported: Reported


_BAGS = [
    col(RecallReport.held_bags), col(RecallReport.returned_bags), col(RecallReport.destroyed_bags),
    col(RecallReport.sold_bags), col(RecallReport.booked_back_bags),
]  # fmt: skip
_SAID = len(Written._fields) - 1
_NO_BAGS = [cast(null(), Integer) for _ in _BAGS]


def _rows(case_id: int) -> Subquery:
    """Gather every row about a case."""
    step = RecallStep
    steps = _sort(
        step, case_id, cast(col(step.step), Text), cast(null(), Integer), cast(null(), Text),
        col(step.reason), *_NO_BAGS,
    )  # fmt: skip
    passed = [
        _sort(table, case_id, literal(what), col(table.customer_id), how, col(table.note), *bags)
        for table, what, how, bags in (
            (RecallNotice, "notice", cast(col(RecallNotice.how), Text), _NO_BAGS),
            (RecallAcknowledgement, "acknowledgement", cast(null(), Text), _NO_BAGS),
            (RecallReport, "report", cast(null(), Text), _BAGS),
        )
    ]
    return union_all(steps, *passed).subquery()


def _sort(
    table: Any,  # noqa: ANN401 - a table of rows about a case
    case_id: int,
    *said: Any,  # noqa: ANN401 - columns
) -> AnySelect:
    names = ("what", "customer", "how", "said", *(f"bags_{n}" for n, _ in enumerate(_BAGS)))
    columns = [column.label(name) for name, column in zip(names, said, strict=True)]
    return select(
        col(table.entry_id).label("entry"), col(table.id).label("number"), *columns
    ).where(col(table.case_id) == case_id)  # fmt: skip


def written_of(session: Session, case_id: int) -> list[Written]:
    """Read all that was written about a case, in one statement."""
    return _read(session, _rows(case_id), true())


def _read(session: Session, rows: Subquery, which: ColumnElement[bool]) -> list[Written]:
    found = session.execute(
        select(
            rows.c.entry, rows.c.what, rows.c.number, rows.c.customer, rows.c.how, rows.c.said,
            col(Customer.name), col(Entry.happened_at), col(Entry.recorded_at), col(Entry.who),
            *(rows.c[f"bags_{n}"] for n, _ in enumerate(_BAGS)),
        )
        .join(Entry, col(Entry.id) == rows.c.entry)
        .outerjoin(Customer, col(Customer.id) == rows.c.customer)
        .where(which)
        .order_by(rows.c.entry, rows.c.what)
    )  # fmt: skip
    return [Written._make([*row[:_SAID], Reported(*row[_SAID:])]) for row in found]


def log(written: Iterable[Written]) -> list[dict[str, object]]:
    """Show what was written, in the order of the entries."""
    return [
        {
            "id": each.entry, "what": each.what, "customer": each.name, "said": each.said,
            "at": text(each.at), "recorded_at": text(each.recorded_at), "by": each.by,
        }
        for each in written
    ]  # fmt: skip


def log_page(session: Session, page: Page, code: str) -> PageOf:
    """Read all that was written about a case, oldest first; one entry may have written two lines.

    A page ends with an entry, so it can be a line longer than was asked.
    """
    rows = _rows(case_at(session, code).row.id)
    entries = select(rows.c.entry).distinct().subquery()
    shown, following = turn_page(session, select(entries.c.entry), entries.c.entry, page)
    return log(_read(session, rows, rows.c.entry.in_([each.entry for each in shown]))), following


@dataclass(frozen=True)
class Told:
    """What passed between the house and one consignee."""

    notices: int = 0
    first_notice_at: datetime | None = None
    last_how: How | None = None
    acknowledged_at: datetime | None = None
    report: Reported | None = None
    reported_at: datetime | None = None


def told_of(written: Iterable[Written]) -> Mapping[int, Told]:
    """Tell what passed with every consignee: the newest report is the one that counts."""
    found: dict[int, Told] = {}
    for each in sorted(written, key=lambda each: each.number):
        if each.customer is None:
            continue
        one = found.get(each.customer, Told())
        if each.what == "notice":
            one = replace(
                one, notices=one.notices + 1, first_notice_at=one.first_notice_at or each.at,
                last_how=How(each.how) if each.how else None,
            )  # fmt: skip
        elif each.what == "acknowledgement":
            one = replace(one, acknowledged_at=min(one.acknowledged_at or each.at, each.at))
        else:
            one = replace(one, report=each.reported, reported_at=each.at)
        found[each.customer] = one
    return found
