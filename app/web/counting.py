"""The task of counting a rack or a lot, and deciding on what was found. The sheet is blind."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final

from fastapi import Path, Response
from pydantic import BaseModel
from sqlalchemy import select
from sqlmodel import Session, col

from app.green.counting import actions, queries
from app.green.counting.rules import Status
from app.green.counting.schemas import (
    ApprovalIn,
    CountBrief,
    CountIn,
    CountLinesIn,
    CountOut,
    RejectionIn,
    SheetOut,
)
from app.green.counting.tables import StockCount
from app.ledger.posting import Pen
from app.ledger.tables import Unit, UnitKind
from app.shared.codes import fold
from app.shared.mass import kg_from_grams
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import forms
from app.web.desk import Desk, Visiting, may
from app.web.forms import MOST_ROWS, Form, Typed, small_number
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext

router = page_router()

TASKS = (Task("/counts", N_("Count a rack"), Room.STORE, Permission.COUNT),)

Counter = Annotated[Desk, may(Permission.COUNT)]
Approver = Annotated[Desk, may(Permission.APPROVE_COUNT)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]

STATES: Final = {
    Status.OPEN: N_("being counted"),
    Status.CLOSED: N_("to be decided on"),
    Status.APPROVED: N_("approved"),
    Status.REJECTED: N_("rejected"),
}
_LATEST: Final = 30
_ROWS: Final = 4
"""So many opened sacks are asked for at first."""


class Ending(BaseModel):
    """The end of counting: there is nothing to be said about it."""


def _end(pen: Pen, number: int, _asked: Ending) -> CountOut:
    return actions.close(pen, number)


def _latest(session: Session) -> Sequence[CountBrief]:
    """Read the newest counts, the newest first."""
    newest = session.scalar(select(col(StockCount.id)).order_by(col(StockCount.id).desc()).limit(1))
    rows, _more = queries.count_page(session, Page(_LATEST, max(0, (newest or 0) - _LATEST)), None)
    return [CountBrief.model_validate(row) for row in reversed(rows)]


def _list(desk: Desk, form: Form[CountIn]) -> Response:
    return desk.show("counts.html", form, counts=desk.read(_latest), states=STATES)


@router.get("/counts")
def show_counts(desk: Visiting) -> Response:
    """Show the counts there are, and ask what is to be counted next."""
    return _list(desk, desk.blank(CountIn))


@router.post("/counts")
def open_count(desk: Counter) -> Response:
    """Open a count, and lead to its sheet."""
    form = desk.sent(CountIn)
    if opened := desk.book(form, actions.begin):
        said = ngettext(
            "The sheet has %(number)s sack.",
            "The sheet has %(number)s sacks.",
            opened["expected_sacks"],
        ) % {"number": opened["expected_sacks"]}
        return desk.onward(f"/counts/{opened['id']}", said)
    return _list(desk, form)


def _count(session: Session, number: int) -> tuple[CountOut, SheetOut | None]:
    """Read a count, and its sheet while people count."""
    count = queries.count(session, number)
    return count, queries.sheet(session, number) if count.status is Status.OPEN else None


def _page(desk: Desk, number: int, form: Form[Any] | None = None) -> Response:
    count, sheet = desk.read(_count, number)
    shown = form or desk.blank(CountLinesIn if sheet else ApprovalIn)
    rows = range(max(_ROWS, *(each + 2 for each in _parts(shown.typed)), 0))
    return desk.show(
        "count_sheet.html" if sheet else "count.html", shown, count=count, sheet=sheet,
        states=STATES, rows=rows, ending=forms.blank(Ending),
    )  # fmt: skip


def _parts(typed: Typed) -> list[int]:
    said = [
        small_number(name.removeprefix("_part."))
        for name, values in typed.items()
        if name.startswith("_part.") and any(map(str.strip, values))
    ]
    return [number for number in said if number is not None and number < MOST_ROWS]


@router.get("/counts/{number}")
def show_count(desk: Visiting, number: Number) -> Response:
    """Show the sheet while people count, and what was found once counting has ended."""
    return _page(desk, number)


@router.post("/counts/{number}")
def take_down(desk: Counter, number: Number) -> Response:
    """Take down what was found; the same sheet is ready for the next."""
    if forms.asks(desk.typed):
        return _page(desk, number, forms.kept(CountLinesIn, desk.typed))
    typed, unknown = desk.read(_lines, desk.typed)
    form = forms.kept(CountLinesIn, typed)
    if unknown:
        form.errors["_whole"] = _("Not here: %(codes)s.") % {"codes": ", ".join(unknown)}
        return _page(desk, number, form)
    if taken := desk.book(form.read(), actions.take_down, number):
        return desk.onward(f"/counts/{number}", _told(taken))
    return _page(desk, number, form)


def _lines(session: Session, typed: Mapping[str, Sequence[str]]) -> tuple[Typed, Sequence[str]]:
    """Make lines of what was typed; an unopened sack weighs what its label says.

    Returns the lines and the codes that no sack has.
    """
    lines: list[dict[str, str]] = []
    whole = [str(fold(code)) for code in " ".join(typed.get("_whole", ())).split()]
    rows = session.execute(
        select(col(Unit.code), col(Unit.made_g))
        .where(col(Unit.code).in_(whole), col(Unit.kind) == UnitKind.SACK)
    )  # fmt: skip
    net = {row.code: row.made_g for row in rows}
    lines += [{"sack": code, "kg": str(kg_from_grams(net[code]))} for code in whole if code in net]
    for number in _parts(typed):
        pounds = typed.get(f"_part_kg.{number}:lb")
        said = pounds or typed.get(f"_part_kg.{number}", [""])
        sack = typed[f"_part.{number}"][-1]
        lines.append({"sack": sack, "kg:lb" if pounds else "kg": said[-1]})
    lines += [{"sack": code, "found": "false"} for code in typed.get("_gone", ())]
    made = {
        f"lines.{number}.{name}": [value]
        for number, line in enumerate(lines)
        for name, value in line.items()
    }
    return {**typed, **made}, [code for code in whole if code not in net]


def _told(taken: dict[str, Any]) -> str:
    number = len(taken["lines"])
    told = ngettext("%(number)s sack taken down.", "%(number)s sacks taken down.", number) % {
        "number": number
    }
    extra = [line["sack"] for line in taken["lines"] if not line["expected"]]
    if extra:
        told += " " + _("Not on the sheet: %(codes)s.") % {"codes": ", ".join(extra)}
    return told


@router.post("/counts/{number}/close")
def end_counting(desk: Counter, number: Number) -> Response:
    """End counting; somebody who did not count decides."""
    form = desk.sent(Ending)
    if desk.book(form, _end, number):
        return desk.onward(f"/counts/{number}", _("Counting has ended. Somebody else decides."))
    count, sheet = desk.read(_count, number)
    return desk.show(
        "count_sheet.html" if sheet else "count.html", form, count=count, sheet=sheet,
        states=STATES, rows=range(_ROWS), ending=form,
    )  # fmt: skip


@router.post("/counts/{number}/decide")
def decide(desk: Approver, number: Number) -> Response:
    """Approve what was found, which books it, or reject it, which books nothing."""
    rejected = desk.typed.get("_decision") == ["reject"]
    form: Form[Any] = desk.sent(RejectionIn if rejected else ApprovalIn)
    if decided := desk.book(form, actions.reject if rejected else actions.approve, number):
        return desk.onward(f"/counts/{number}", _decided(decided))
    return _page(desk, number, form)


def _decided(decided: dict[str, Any]) -> str:
    if decided["status"] == Status.REJECTED:
        return _("Rejected: nothing was booked.")
    total = decided["figures"]["total"]["variance_kg"]
    return _("Approved and booked: %(mass)s.") % {"mass": mass_kg(total)}
