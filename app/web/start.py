"""The start page: what needs doing now, for whoever is signed in."""

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from typing import Final, NamedTuple
from urllib.parse import urlencode

from fastapi import APIRouter, Response
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.copies.queries import standing as backups
from app.cover.ordering import due_orders
from app.green.condition.queries import watch_page
from app.green.counting.queries import count_page
from app.green.counting.rules import Status
from app.green.instruments.rules import DOUBTFUL
from app.ledger.tables import Hold, HoldRelease
from app.recall.drills.queries import due as drill_due
from app.roasting.batches.queries import Wanted, batch_page
from app.roasting.queries import set_aside
from app.sending.orders.queries import open_lines
from app.settings import Settings
from app.shared.paging import Page
from app.shared.staff import Permission
from app.shared.times import now
from app.web.desk import Desk, Visiting
from app.web.expected import expected
from app.web.instruments import due
from app.web.putting_away import lots_waiting
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
    needs: Permission | None = None
    """What somebody must be allowed to do to follow it; all read."""


class Due(NamedTuple):
    """Something that waits for somebody."""

    number: int
    said: str
    lines: Sequence[Line] = ()
    path: str | None = None
    urgent: bool = False


def _arrivals(session: Session, settings: Settings) -> Due | None:
    """Name contracts whose coffee is expected within a week or should have come."""
    today = now().date()
    soon = [
        each
        for each in expected(session, settings)
        if not each.received_g and each.expected_on and each.expected_on <= today + _AHEAD
    ]
    lines = [
        Line(
            each.reference,
            f"{mass(each.quantity_g)}, {day(each.expected_on)}",
            f"/receive?{urlencode({'contract': each.reference})}",
            Permission.RECEIVE,
        )
        for each in soon[:_LINES]
        if each.expected_on
    ]
    said = ngettext("delivery expected", "deliveries expected", len(soon))
    late = any(each.expected_on and each.expected_on < today for each in soon)
    return Due(len(soon), said, lines, urgent=late)


def _homeless(session: Session, settings: Settings) -> Due | None:
    """Name lots with sacks that stand at no place yet."""
    del settings
    lots = lots_waiting(session)
    lines = [
        Line(each.code, f"{each.name}, {mass(int(each.grams))}", f"/put-away?of={each.code}")
        for each in lots[:_LINES]
    ]
    number = sum(each.sacks for each in lots)
    said = ngettext("sack to be put away", "sacks to be put away", number)
    return Due(number, said, lines, "/put-away")


def _counts(session: Session, settings: Settings) -> Due | None:
    """Name counts that somebody who did not count has to decide on."""
    del settings
    found, _following = count_page(session, Page(500, 0), Status.CLOSED)
    lines = [
        Line(str(each["location"] or each["lot"]), str(each["closed_by"]), f"/counts/{each['id']}")
        for each in found[:_LINES]
    ]
    said = ngettext("count to be decided on", "counts to be decided on", len(found))
    return Due(len(found), said, lines, "/counts")


def _instruments(session: Session, settings: Settings) -> Due | None:
    """Name instruments whose word nobody can trust today."""
    del settings
    late = [each for each in due(session) if each.status in DOUBTFUL]
    lines = [
        Line(each.instrument, each.name, f"/instruments/{each.instrument}")
        for each in late[:_LINES]
    ]
    said = ngettext("calibration due", "calibrations due", len(late))
    return Due(len(late), said, lines, "/instruments")


def _readings(session: Session, settings: Settings) -> Due | None:
    """Name lots on hand whose moisture nobody read for long."""
    page, _following = watch_page(session, Page(500, 0), settings, None, True)
    lines = [
        Line(str(each["lot"]), str(each["name"]), f"/moisture?subject={each['lot']}")
        for each in page[:_LINES]
    ]
    said = ngettext("lot to be read for moisture", "lots to be read for moisture", len(page))
    return Due(len(page), said, lines, "/watch")


def _to_taste(session: Session, settings: Settings) -> Due | None:
    """Lead whoever tastes to the form for it."""
    del settings
    return _set_aside(session, "/cup/{code}", "/cup")


def _missed(session: Session, settings: Settings) -> Due | None:
    """Lead a roaster to what was missed."""
    del settings
    return _set_aside(session, "/roasted/{code}", "/roasting")


def _set_aside(session: Session, each: str, all_of_them: str) -> Due:
    rows = set_aside(session, _LINES)
    number = rows[0].of if rows else 0
    lines = [
        Line(row.code, f"{mass(row.left_g)} {row.style or ''}", each.format(code=row.code))
        for row in rows
    ]
    said = ngettext("roast set aside, to be tasted", "roasts set aside, to be tasted", number)
    return Due(number, said, lines, all_of_them)


def _batches(session: Session, settings: Settings) -> Due | None:
    """Name the batches that are planned until today and not roasted."""
    del settings
    batches, _following = batch_page(session, Page(500, 0), Wanted("planned", None, now().date()))
    lines = [
        Line(
            str(each["id"]), f"{each['style']}, {each['machine'] or ''}",
            f"/roast?batch={each['id']}",
        )
        for each in batches[:_LINES]
    ]  # fmt: skip
    said = ngettext("batch to be roasted", "batches to be roasted", len(batches))
    return Due(len(batches), said, lines, "/roasting")


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
        Line(line.order, f"{line.customer}, {day(line.due_on)}", f"/send?order={line.order}")
        for line in [*orders.values()][:_LINES]
    ]
    said = ngettext("order to be sent", "orders to be sent", len(orders))
    late = any(line.due_on < today for line in lines)
    return Due(len(orders), said, shown, "/sending", urgent=late)


def _cover(session: Session, settings: Settings) -> Due | None:
    """Name components that are at their order point; what is below it should have been ordered."""
    due = due_orders(session, "component", settings)
    lines = [
        Line(
            each.key, _("order %(mass)s") % {"mass": mass(each.suggested_g)},
            f"/cover/projection?{urlencode({'key': each.key})}",
        )
        for each in due[:_LINES]
    ]  # fmt: skip
    said = ngettext("component to be ordered", "components to be ordered", len(due))
    late = any(each.position_g < each.reorder_point_g for each in due)
    return Due(len(due), said, lines, "/cover/orders", urgent=late)


def _drill(session: Session, settings: Settings) -> Due | None:
    found = drill_due(session, settings)
    if not found.overdue:
        return None
    return Due(1, _("recall drill due"), path="/drills", urgent=True)


def _backup(session: Session, settings: Settings) -> Due | None:
    """Say for how many days the book has gone without a backup, where that is too long."""
    how = backups(session, settings)
    if not how.overdue or how.since is None:
        return None
    days = max(1, (now() - how.since).days)
    said = ngettext("day without a backup", "days without a backup", days)
    return Due(days, said, path="/backups", urgent=True)


_WAITING: Final[Sequence[tuple[Permission, Callable[[Session, Settings], Due | None]]]] = (
    (Permission.RECEIVE, _arrivals),
    (Permission.CONTRACTS, _arrivals),
    (Permission.RECEIVE, _homeless),
    (Permission.CONTRACTS, _cover),
    (Permission.DISPATCH, _orders),
    (Permission.CUP, _to_taste),
    (Permission.ROAST, _batches),
    (Permission.ROAST, _missed),
    (Permission.RELEASE, _holds),
    (Permission.READING, _readings),
    (Permission.APPROVE_COUNT, _counts),
    (Permission.INSTRUMENTS, _instruments),
    (Permission.RECALL, _drill),
    (Permission.ADMIN, _backup),
)
"""What may wait, and for whom: whoever may do it. One query a line."""


def _due(session: Session, desk: Desk) -> list[Due]:
    mine = {query: None for needed, query in _WAITING if desk.staff.may(needed)}
    if _to_taste in mine:
        mine.pop(_missed, None)  # Whoever tastes is told of the same roasts, with the form for it.
    asked = (query(session, desk.settings) for query in mine)
    return [each for each in asked if each is not None and each.number]


@router.get("/")
def start(desk: Visiting) -> Response:
    """Show what waits."""
    due = desk.read(_due, desk)
    return desk.show("start.html", due=due, opening={path for each in due for path in _paths(each)})


def _paths(due: Due) -> Iterator[str]:
    """Name the tasks that something waits for."""
    for path in (due.path, *(line.path for line in due.lines)):
        if path:
            yield path.partition("?")[0]
