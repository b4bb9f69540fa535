"""The start page: what needs doing now, for whoever is signed in."""

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from typing import Final, NamedTuple

from fastapi import APIRouter, Response
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.condition.queries import watch_page
from app.green.contracts.received import received_of
from app.green.contracts.tables import PurchaseContract
from app.ledger.tables import Hold, HoldRelease, Unit
from app.quality.rules import Disposition
from app.recall.drills.queries import due as drill_due
from app.roasting.queries import DISPOSITION
from app.roasting.tables import Roast
from app.sending.orders.queries import open_lines
from app.settings import Settings
from app.shared.paging import Page
from app.shared.staff import Permission
from app.shared.times import now
from app.web.desk import Desk, Visiting
from app.web.shown import day, mass
from app.web.texts import _, ngettext

router = APIRouter(include_in_schema=False)

_LINES: Final = 5
"""So many are named beside each; the number says how many there are."""
_AHEAD: Final = timedelta(days=7)


class Line(NamedTuple):
    """One of what is due."""

    code: str
    said: str = ""
    path: str | None = None


class Due(NamedTuple):
    """Something that waits for somebody."""

    number: int
    said: str
    lines: Sequence[Line] = ()
    path: str | None = None
    urgent: bool = False


def _arrivals(session: Session, settings: Settings) -> Due | None:
    """Name contracts whose coffee is expected within a week or should have come."""
    del settings
    today = now().date()
    contracts = session.scalars(
        select(PurchaseContract)
        .where(col(PurchaseContract.expected_on) <= today + _AHEAD)
        .order_by(col(PurchaseContract.expected_on))
    ).all()
    received = received_of(session, [each.id for each in contracts if each.id is not None])
    waiting = [each for each in contracts if not received.get(each.id or 0)]
    lines = [
        Line(each.reference, f"{mass(each.quantity_g)}, {day(each.expected_on)}")
        for each in waiting[:_LINES]
        if each.expected_on
    ]
    said = ngettext("delivery expected", "deliveries expected", len(waiting))
    late = any(each.expected_on and each.expected_on < today for each in waiting)
    return Due(len(waiting), said, lines, urgent=late)


def _readings(session: Session, settings: Settings) -> Due | None:
    """Name lots on hand whose moisture nobody read for long."""
    page, _following = watch_page(session, Page(500, 0), settings, None, True)
    lines = [
        Line(str(each["lot"]), str(each["name"]), f"/moisture?subject={each['lot']}")
        for each in page[:_LINES]
    ]
    said = ngettext("lot to be read for moisture", "lots to be read for moisture", len(page))
    return Due(len(page), said, lines, "/moisture")


def _set_aside(session: Session, settings: Settings) -> Due | None:
    del settings
    rows = session.execute(
        select(col(Unit.code), col(Unit.left_g), col(Roast.style))
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .where(
            col(Unit.left_g) > 0,
            col(Unit.voided_entry_id).is_(None),
            DISPOSITION.in_([Disposition.SET_ASIDE]),
        )
        .order_by(col(Unit.id))
    ).all()
    lines = [
        Line(row.code, f"{mass(row.left_g)} {row.style or ''}", f"/u/{row.code}")
        for row in rows[:_LINES]
    ]
    said = ngettext("roast set aside, to be tasted", "roasts set aside, to be tasted", len(rows))
    return Due(len(rows), said, lines)


def _holds(session: Session, settings: Settings) -> Due | None:
    del settings
    number = session.scalar(
        select(func.count())
        .select_from(Hold)
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .where(col(HoldRelease.hold_id).is_(None))
    )
    return Due(number or 0, ngettext("open hold", "open holds", number or 0), path="/holds")


def _orders(session: Session, settings: Settings) -> Due | None:
    """Name what customers are to have by tomorrow."""
    del settings
    today = now().date()
    lines = open_lines(session, today + timedelta(days=1))
    orders = {line.order: line for line in reversed(lines)}
    shown = [
        Line(line.order, f"{line.customer}, {day(line.due_on)}")
        for line in [*orders.values()][:_LINES]
    ]
    said = ngettext("order to be sent", "orders to be sent", len(orders))
    return Due(len(orders), said, shown, urgent=any(line.due_on < today for line in lines))


def _drill(session: Session, settings: Settings) -> Due | None:
    found = drill_due(session, settings)
    if not found.overdue:
        return None
    return Due(1, _("recall drill due"), path="/drills", urgent=True)


_WAITING: Final[Sequence[tuple[Permission, Callable[[Session, Settings], Due | None]]]] = (
    (Permission.RECEIVE, _arrivals),
    (Permission.CONTRACTS, _arrivals),
    (Permission.DISPATCH, _orders),
    (Permission.CUP, _set_aside),
    (Permission.ROAST, _set_aside),
    (Permission.RELEASE, _holds),
    (Permission.READING, _readings),
    (Permission.RECALL, _drill),
)
"""What may wait, and for whom: whoever may do it. One query a line."""


def _due(session: Session, desk: Desk) -> list[Due]:
    mine = {query: None for needed, query in _WAITING if desk.staff.may(needed)}
    return [*_those_there(query(session, desk.settings) for query in mine)]


def _those_there(asked: Iterator[Due | None]) -> Iterator[Due]:
    return (each for each in asked if each is not None and each.number)


@router.get("/")
def start(desk: Visiting) -> Response:
    """Show what waits."""
    return desk.show("start.html", due=desk.read(_due, desk))
