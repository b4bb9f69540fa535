"""The start page: what needs doing now, for whoever is signed in."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from fastapi import Response
from sqlmodel import Session

from app.copies.queries import too_long
from app.cover.ordering import due_orders
from app.green.condition.queries import watch_page
from app.green.instruments.rules import DOUBTFUL
from app.recall.drills.rules import is_overdue as drill_overdue
from app.settings import Settings
from app.shared.days import day_of, today_here
from app.shared.paging import Page
from app.shared.staff import Permission
from app.shared.times import now
from app.web.arriving import STEPS
from app.web.desk import Desk, Visiting
from app.web.expected import Expected, expected
from app.web.first_few import LINES, first_few
from app.web.instruments import due
from app.web.routing import page_router
from app.web.shown import day, mass
from app.web.texts import _, gettext, ngettext

router = page_router()

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


class Asked(NamedTuple):
    """What the lines are told by."""

    session: Session
    settings: Settings
    few: Mapping[str, Sequence[Any]]
    """The first rows of those that are read at once, by the name of the line."""


def _of(rows: Sequence[Any]) -> int:
    return int(rows[0].of) if rows else 0


def _arrivals(asked: Asked) -> Due | None:
    """Name contracts of which coffee is expected within a week or should have come."""
    today = today_here()
    soon = [
        each
        for each in expected(asked.session, asked.settings)
        if each.expected_on and each.expected_on <= today + _AHEAD
    ]
    lines = [
        Line(
            each.reference,
            f"{_to_come(each)}, {day(each.expected_on)}",
            f"/receive?{urlencode({'contract': each.reference})}",
            Permission.RECEIVE,
        )
        for each in soon[:LINES]
        if each.expected_on
    ]
    said = ngettext("delivery expected", "deliveries expected", len(soon))
    late = any(each.expected_on and each.expected_on < today for each in soon)
    return Due(len(soon), said, lines, urgent=late)


def _to_come(each: Expected) -> str:
    if not each.received_g:
        return mass(each.quantity_g)
    figures = {"open": mass(each.open_g), "agreed": mass(each.quantity_g)}
    return _("%(open)s of %(agreed)s still to come") % figures


def _homeless(asked: Asked) -> Due | None:
    """Name lots with sacks that stand at no place yet."""
    rows = asked.few["homeless"]
    lines = [
        Line(each.code, f"{each.words}, {mass(int(each.grams))}", f"/put-away?of={each.code}")
        for each in rows
    ]
    said = ngettext("sack to be put away", "sacks to be put away", _of(rows))
    return Due(_of(rows), said, lines, "/put-away")


def _unfinished(asked: Asked) -> Due | None:
    """Name arrived lots with work to be done before they are released, and what is next."""
    rows = asked.few["unfinished"]
    lines = [
        Line(each.code, f"{each.words}: {gettext(STEPS[each.more])}", f"/arrivals/{each.code}")
        for each in rows
    ]
    said = ngettext("arrival with work to be done", "arrivals with work to be done", _of(rows))
    return Due(_of(rows), said, lines)


def _to_bring(asked: Asked) -> Due | None:
    """Name the sacks that today's batches take and that do not stand beside the roaster."""
    rows = asked.few["to bring"]
    lines = [
        Line(
            each.code,
            f"{each.words or _('at no place')}, {mass(int(each.grams))}",
            f"/bring?sacks={each.code}",
            Permission.MOVE,
        )
        for each in rows
    ]
    said = ngettext("sack to be brought to the drum", "sacks to be brought to the drum", _of(rows))
    return Due(_of(rows), said, lines, "/bring")


def _counts(asked: Asked) -> Due | None:
    """Name counts that somebody who did not count has to decide on."""
    rows = asked.few["counts"]
    lines = [Line(each.code, each.words, f"/counts/{each.more}") for each in rows]
    said = ngettext("count to be decided on", "counts to be decided on", _of(rows))
    return Due(_of(rows), said, lines, "/counts")


def _instruments(asked: Asked) -> Due | None:
    """Name instruments whose word nobody can trust today."""
    late = [each for each in due(asked.session) if each.status in DOUBTFUL]
    lines = [
        Line(each.instrument, each.name, f"/instruments/{each.instrument}") for each in late[:LINES]
    ]
    said = ngettext("calibration due", "calibrations due", len(late))
    return Due(len(late), said, lines, "/instruments")


def _readings(asked: Asked) -> Due | None:
    """Name lots on hand whose moisture nobody read for long."""
    page, _following = watch_page(asked.session, Page(500, 0), asked.settings, None, True)
    lines = [
        Line(str(each["lot"]), str(each["name"]), f"/moisture?subject={each['lot']}")
        for each in page[:LINES]
    ]
    said = ngettext("lot to be read for moisture", "lots to be read for moisture", len(page))
    return Due(len(page), said, lines, "/watch")


def _to_taste(asked: Asked) -> Due | None:
    """Lead whoever tastes to the form for it."""
    return _set_aside(asked, "/cup/{code}", "/cup")


def _missed(asked: Asked) -> Due | None:
    """Lead a roaster to what was missed."""
    return _set_aside(asked, "/roasted/{code}", "/roasting")


def _set_aside(asked: Asked, each: str, all_of_them: str) -> Due:
    rows = asked.few["set aside"]
    lines = [
        Line(row.code, f"{mass(int(row.grams))} {row.words or ''}", each.format(code=row.code))
        for row in rows
    ]
    said = ngettext("roast set aside, to be tasted", "roasts set aside, to be tasted", _of(rows))
    return Due(_of(rows), said, lines, all_of_them)


def _batches(asked: Asked) -> Due | None:
    """Name the batches that are planned until today and not roasted."""
    rows = asked.few["batches"]
    lines = [
        Line(each.code, f"{each.words}, {each.more or ''}", f"/roast?batch={each.code}")
        for each in rows
    ]
    said = ngettext("batch to be roasted", "batches to be roasted", _of(rows))
    return Due(_of(rows), said, lines, "/roasting")


def _holds(asked: Asked) -> Due | None:
    number = _of(asked.few["holds"])
    return Due(number, ngettext("open hold", "open holds", number), path="/holds")


def _orders(asked: Asked) -> Due | None:
    """Name what customers are to have by tomorrow."""
    rows = asked.few["orders"]
    lines = [
        Line(each.code, f"{each.words}, {day(each.day)}", f"/send?order={each.code}")
        for each in rows
    ]
    said = ngettext("order to be sent", "orders to be sent", _of(rows))
    late = any(each.day < today_here() for each in rows)  # the earliest are among them
    return Due(_of(rows), said, lines, "/sending", urgent=late)


def _cover(asked: Asked) -> Due | None:
    """Name components that are at their order point; what is below it should have been ordered."""
    due = due_orders(asked.session, "component", asked.settings)
    lines = [
        Line(
            each.key, _("order %(mass)s") % {"mass": mass(each.suggested_g)},
            f"/cover/projection?{urlencode({'key': each.key})}",
        )
        for each in due[:LINES]
    ]  # fmt: skip
    said = ngettext("component to be ordered", "components to be ordered", len(due))
    late = any(each.position_g < each.reorder_point_g for each in due)
    return Due(len(due), said, lines, "/cover/orders", urgent=late)


def _drill(asked: Asked) -> Due | None:
    last = next((day_of(each.at) for each in asked.few["drill"]), None)
    if not drill_overdue(today_here(), last, asked.settings.drill_every_months):
        return None
    return Due(1, _("recall drill due"), path="/drills", urgent=True)


def _backup(asked: Asked) -> Due | None:
    """Say for how many days the book has gone without a backup, where that is too long."""
    since = asked.few["backup"][0].at
    if since is None or not too_long(since, asked.settings):
        return None
    days = max(1, (now() - since).days)
    said = ngettext("day without a backup", "days without a backup", days)
    return Due(days, said, path="/backups", urgent=True)


_WAITING: Final[Sequence[tuple[Permission, Callable[[Asked], Due | None]]]] = (
    (Permission.RECEIVE, _arrivals),
    (Permission.CONTRACTS, _arrivals),
    (Permission.RECEIVE, _unfinished),
    (Permission.RECEIVE, _homeless),
    (Permission.PICK, _to_bring),
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
"""What may wait, and for whom: whoever may do it."""


def _due(session: Session, desk: Desk) -> list[Due]:
    mine = {told: None for needed, told in _WAITING if desk.staff.may(needed)}
    if _to_taste in mine:
        mine.pop(_missed, None)  # Whoever tastes is told of the same roasts, with the form for it.
    names = tuple(dict.fromkeys(_FEW[told] for told in mine if told in _FEW))
    asked = Asked(session, desk.settings, first_few(session, names))
    found = (told(asked) for told in mine)
    return [each for each in found if each is not None and each.number]


_FEW: Final[Mapping[Callable[[Asked], Due | None], str]] = {
    _unfinished: "unfinished", _homeless: "homeless", _to_bring: "to bring",
    _orders: "orders", _to_taste: "set aside", _missed: "set aside",
    _batches: "batches", _holds: "holds", _counts: "counts", _drill: "drill", _backup: "backup",
}  # fmt: skip
"""What is told by its first few rows; these are read at once."""


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
