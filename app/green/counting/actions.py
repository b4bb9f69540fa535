"""Counting stock: nothing changes before somebody who did not count approves it."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.counting.queries import count_out, count_row, status_of
from app.green.counting.rules import Event, Found, Status, outdates, short_of
from app.green.counting.schemas import (
    ApprovalIn,
    CountIn,
    CountLinesIn,
    CountNoted,
    CountOut,
    NotedLine,
    RejectionIn,
)
from app.green.counting.showing import standing_lines
from app.green.counting.tables import (
    StockCount,
    StockCountClose,
    StockCountDecision,
    StockCountLine,
    StockCountSack,
)
from app.green.tables import Sack
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, moments, unit_by_code, units_by_code
from app.ledger.tables import Adjustment, Entry, Flow, Reason, Unit, UnitKind
from app.places.actions import locate
from app.places.tree import STANDING, below
from app.shared.db import AnySelect, among, next_number
from app.shared.mass import kg_text
from app.shared.problems import FieldRefused, Refused
from app.shared.times import text


def begin(pen: Pen, asked: CountIn) -> CountOut:
    """Open a count: the sheet holds the sacks in which the book has coffee now."""
    location = None if asked.location is None else locate(pen, asked.location, "#/location")
    lot = None
    if asked.lot is not None:
        lot = live(unit_by_code(pen.session, asked.lot, UnitKind.LOT))
    sacks = pen.session.execute(_expected(location.id if location else None, lot)).all()
    said = asked.model_dump(mode="json") | {"sacks": [sack.code for sack in sacks]}
    entry_id = pen.note("count opened", said)
    number = next_number(pen.session, col(StockCount.id))
    pen.write(StockCount, [{
        "id": number, "location_id": location.id if location else None,
        "lot_id": lot.id if lot else None, "note": asked.note, "entry_id": entry_id,
    }])  # fmt: skip
    pen.write(StockCountSack, (
        {"count_id": number, "sack_id": sack.id, "location_id": sack.location_id}
        for sack in sacks
    ))  # fmt: skip
    return count_out(pen.session, count_row(pen.session, number))


def _expected(location_id: int | None, lot: Unit | None) -> AnySelect:
    statement: AnySelect = (
        select(col(Unit.id), col(Unit.code), col(Unit.location_id))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(STANDING)
        .order_by(col(Unit.id))
    )
    if lot is not None:
        return statement.where(col(Sack.lot_id) == lot.id)
    assert location_id is not None  # noqa: S101 - a count is of a place or of a lot
    return statement.where(col(Unit.location_id).in_(select(below(location_id).c.id)))


def take_down(pen: Pen, number: int, asked: CountLinesIn) -> CountNoted:
    """Take down what somebody found; of two lines about a sack the later one counts.

    What the book had is kept with each line, so that drawing from the sack afterwards disturbs
    nothing.
    """
    _refuse_ended(count_row(pen.session, number))
    _refuse_twins(asked)
    at = pen.moment(asked.counted_at, "#/counted_at")
    found = units_by_code(pen.session, [each.sack for each in asked.lines], UnitKind.SACK)
    sacks = [live(found[each.sack]) for each in asked.lines]
    _refuse_before(pen.session, sacks, asked.counted_at)
    book_g = _book_at(pen.session, sacks, asked.counted_at)
    said = asked.model_dump(mode="json") | {"count": number, "book": [*book_g.values()]}
    entry_id = pen.note("counted", said, at)
    first = next_number(pen.session, col(StockCountLine.id))
    pen.write(StockCountLine, (
        {"id": first + i, "count_id": number, "sack_id": sack.id, "location_id": sack.location_id,
         "counted_g": each.grams, "book_g": book_g[sack.id], "entry_id": entry_id}
        for i, (each, sack) in enumerate(zip(asked.lines, sacks, strict=True))
    ))  # fmt: skip
    on_sheet = set(pen.session.scalars(
        select(col(StockCountSack.sack_id))
        .where(col(StockCountSack.count_id) == number)
        .where(among(pen.session, col(StockCountSack.sack_id), list(book_g)))
    ))  # fmt: skip
    return CountNoted(
        id=number,
        lines=[NotedLine(sack=sack.code, expected=sack.id in on_sheet) for sack in sacks],
        counted_at=at,
        counted_by=pen.who,
        entry=entry_id,
    )


def _refuse_ended(row: Row[Any]) -> None:
    status = status_of(row)
    if status is not Status.OPEN:
        raise Refused(
            "count-state", f"Count {row.id} is {status}: counting has ended.", count_status=status
        )


def _refuse_twins(asked: CountLinesIn) -> None:
    named: set[str] = set()
    for number, each in enumerate(asked.lines):
        if each.sack in named:
            raise FieldRefused(f"#/lines/{number}/sack", f"named twice: {each.sack}")
        named.add(each.sack)


def _refuse_before(session: Session, sacks: Sequence[Unit], at: datetime | None) -> None:
    if at is None:
        return
    came = moments(session, {sack.born_entry_id for sack in sacks})
    for sack in sacks:
        if at < came[sack.born_entry_id]:
            since = text(came[sack.born_entry_id])
            raise FieldRefused("#/counted_at", f"{sack.code} came later, at {since}")


def _book_at(session: Session, sacks: Sequence[Unit], at: datetime | None) -> Mapping[int, int]:
    """Tell what the book had in each sack: now, or at the time somebody counted."""
    book_g = {sack.id: sack.left_g for sack in sacks}
    if at is None:
        return book_g
    user = aliased(Unit)
    drawn = (
        select(col(Flow.source_id), func.sum(col(Flow.grams)))
        .join(user, col(user.id) == col(Flow.target_id))
        .join(Entry, col(Entry.id) == col(user.born_entry_id))
        .where(among(session, col(Flow.source_id), list(book_g)))
        .where(col(user.voided_entry_id).is_(None), col(Entry.happened_at) > at)
        .group_by(col(Flow.source_id))
    )
    reversal = aliased(Adjustment)
    adjusted = (
        select(col(Adjustment.unit_id), func.sum(-col(Adjustment.grams)))
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .outerjoin(reversal, col(reversal.reverses_id) == col(Adjustment.id))
        .where(among(session, col(Adjustment.unit_id), list(book_g)))
        .where(col(Adjustment.reverses_id).is_(None), col(reversal.id).is_(None))
        .where(col(Entry.happened_at) > at)
        .group_by(col(Adjustment.unit_id))
    )
    for later in (drawn, adjusted):
        for sack_id, grams in session.execute(later):
            book_g[sack_id] += int(grams)
    return book_g


def close(pen: Pen, number: int) -> CountOut:
    """End counting: what was found is shown from now on."""
    row = count_row(pen.session, number)
    if row.close_id is not None:
        raise Refused("already-done", f"Count {number} was closed before, by {row.closed_by}.")
    _refuse_ended(row)
    entry_id = pen.note("count closed", {"count": number})
    pen.write(StockCountClose, [{"count_id": number, "entry_id": entry_id}])
    return count_out(pen.session, count_row(pen.session, number))


def approve(pen: Pen, number: int, asked: ApprovalIn) -> CountOut:
    """Book every variance as an adjustment, all in one entry.

    Raises:
        Refused: `own-count` for whoever counted; `count-outdated` when the book was corrected
            since; `insufficient-stock` for a sack that cannot give its variance any more.
    """
    row = _undecided(pen, number)
    if status_of(row) is Status.OPEN:
        raise Refused(
            "count-state", f"Count {number} is open: end counting first.", count_status=Status.OPEN
        )
    _refuse_own(pen, row)
    lines = pen.session.execute(standing_lines(number)).all()
    _refuse_outdated(pen.session, lines)
    said = {"count": number, **asked.model_dump(mode="json")}
    posting = Posting("count approved", pen.now, said)
    for line in lines:
        variance_g = Found(line.sack_id, line.lot, line.counted_g, line.book_g).variance_g
        _refuse_spent(line, variance_g)
        if variance_g:
            posting.adjust(line.sack_id, variance_g, Reason.COUNT, f"count {number}")
    entry_id = pen.post(posting)
    return _decided(pen, number, entry_id, approved=True, reason=asked.reason)


def reject(pen: Pen, number: int, asked: RejectionIn) -> CountOut:
    """Reject a count, or give up one that is open: nothing is booked, and it stays readable."""
    _undecided(pen, number)
    entry_id = pen.note("count rejected", {"count": number, "reason": asked.reason})
    return _decided(pen, number, entry_id, approved=False, reason=asked.reason)


def _undecided(pen: Pen, number: int) -> Row[Any]:
    row = count_row(pen.session, number)
    if row.decision_id is not None:
        said = f"Count {number} was {status_of(row)} before, by {row.decided_by}."
        raise Refused("already-done", said)
    return row


def _decided(
    pen: Pen, number: int, entry_id: int, *, approved: bool, reason: str | None
) -> CountOut:
    pen.write(StockCountDecision, [
        {"count_id": number, "approved": approved, "reason": reason, "entry_id": entry_id},
    ])  # fmt: skip
    return count_out(pen.session, count_row(pen.session, number))


def _refuse_own(pen: Pen, row: Row[Any]) -> None:
    counters = set(pen.session.scalars(
        select(col(Entry.who)).join(StockCountLine, col(StockCountLine.entry_id) == col(Entry.id))
        .where(col(StockCountLine.count_id) == row.id)
    ))  # fmt: skip
    if pen.who in counters | {row.opened_by}:
        act = "counted" if pen.who in counters else "opened"
        raise Refused(
            "own-count",
            f"{pen.who} {act} count {row.id}: somebody else approves it.",
            person=pen.who,
        )


def _refuse_spent(line: Row[Any], variance_g: int) -> None:
    if short_of(variance_g, line.left_g):
        raise Refused(
            "insufficient-stock",
            f"sack {line.code} was counted {kg_text(-variance_g)} short and has "
            f"{kg_text(line.left_g)} left by now: count it again.",
            unit=line.code,
        )


def _refuse_outdated(session: Session, lines: Sequence[Row[Any]]) -> None:
    """Refuse where the book was put right after a line: booking it too would correct twice."""
    codes = {line.sack_id: line.code for line in lines}
    events = _events(session, codes.keys())
    late = sorted({
        codes[line.sack_id]
        for line in lines
        for event in events.get(line.sack_id, ())
        if outdates(event, line.entry_id, line.happened_at)
    })  # fmt: skip
    if late:
        raise Refused(
            "count-outdated",
            f"The book was corrected after these were counted: {', '.join(late[:20])}. "
            "Reject the count and count them again.",
            units=late,
        )


def _events(session: Session, sack_ids: Collection[int]) -> Mapping[int, Sequence[Event]]:
    """Read what changed these sacks: adjustments and draws, with what took them back."""
    user, reversal = aliased(Unit), aliased(Adjustment)
    adjustments = (
        select(
            col(Adjustment.unit_id),
            col(Entry.id),
            col(Entry.happened_at),
            col(Adjustment.reason),
            col(reversal.entry_id),
        )
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .outerjoin(reversal, col(reversal.reverses_id) == col(Adjustment.id))
        .where(among(session, col(Adjustment.unit_id), sack_ids))
        .where(col(Adjustment.reverses_id).is_(None))
    )
    draws = (
        select(
            col(Flow.source_id), col(Entry.id), col(Entry.happened_at), col(user.voided_entry_id)
        )
        .join(user, col(user.id) == col(Flow.target_id))
        .join(Entry, col(Entry.id) == col(user.born_entry_id))
        .where(among(session, col(Flow.source_id), sack_ids))
    )
    found: dict[int, list[Event]] = {}
    for sack_id, entry_id, happened_at, reason, reversed_by in session.execute(adjustments):
        event = Event(entry_id, reversed_by, happened_at, is_count=reason == Reason.COUNT)
        found.setdefault(sack_id, []).append(event)
    for sack_id, entry_id, happened_at, voided in session.execute(draws):
        found.setdefault(sack_id, []).append(Event(entry_id, voided, happened_at, is_count=False))
    return found
