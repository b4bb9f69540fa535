"""What a case allows by where it stands, and cases that leave whole with a dispatch."""

from collections import Counter
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlmodel import Session

from app.ledger.posting import Pen
from app.sending.cases.contents import (
    cases_by_code,
    contents_of,
    departures,
    last_changes,
    pallets_of,
)
from app.sending.cases.rules import Contents
from app.sending.cases.tables import Case, DispatchCase
from app.shared.problems import FieldRefused, Refused
from app.shared.times import text


def refuse_elsewhere(
    session: Session, cases: Sequence[Case], gone: Collection[int] = ()
) -> list[Contents]:
    """Refuse cases that were sent, taken apart or stand on a pallet; read what is in the others.

    What left with a dispatch that is gone, since another is booked in its place, has not left.
    """
    ids = [case.id for case in cases]
    if not ids:
        return []
    left, on = departures(session, ids), pallets_of(session, ids)
    sent = {case_id: each for case_id, each in left.items() if each.dispatch_id not in gone}
    contents = contents_of(session, ids)
    for case in cases:
        if case.id in sent:
            said = f"was sent with {sent[case.id].dispatch}"
        elif case.id in on:
            said = f"stands on pallet {on[case.id]}: take it off first"
        elif contents[case.id].empty:
            said = "was taken apart; its code is not used again"
        else:
            continue
        raise Refused("case-state", f"{case.kind} {case.code} {said}.", case=case.code)
    return [contents[case.id] for case in cases]


def refuse_earlier(session: Session, cases: Sequence[Case], at: datetime, pointer: str) -> None:
    """Refuse a change before one that is in the book: what was in it has one answer."""
    changed = last_changes(session, [case.id for case in cases]) if cases else {}
    for case in cases:
        if at < changed[case.id]:
            raise FieldRefused(
                pointer,
                f"{case.kind} {case.code} was packed later than that, at {text(changed[case.id])}",
            )


class Leaving(NamedTuple):
    """Cases that leave whole."""

    named: list[Case]
    others: list[int]
    """Those on the pallets that were named."""
    bags: Counter[int]
    """All that is in them, by pack."""


def leaving(
    session: Session, codes: Sequence[str], at: datetime, gone: Collection[int] = ()
) -> Leaving:
    """Find cases that a dispatch names, with everything in them.

    Raises:
        Refused: `case-state`, `unknown-code`, `misread-code`.
    """
    if not codes:
        return Leaving([], [], Counter())
    named = list(cases_by_code(session, codes).values())
    contents = refuse_elsewhere(session, named, gone)
    refuse_earlier(session, named, at, "#/dispatched_at")
    others = [inner for each in contents for inner in each.inner]
    bags: Counter[int] = Counter()
    for each in (*contents, *contents_of(session, others).values()):
        bags.update(each.bags)
    return Leaving(named, others, bags)


def record_leaving(pen: Pen, cases: Leaving, dispatch_id: int) -> None:
    """Put on record which cases left with a dispatch, as part of its entry."""
    named = {case.id for case in cases.named}
    pen.write(DispatchCase, [
        {"dispatch_id": dispatch_id, "case_id": each, "named": each in named}
        for each in (*sorted(named), *cases.others)
    ])  # fmt: skip
