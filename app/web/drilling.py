"""The drill desk: a recall rehearsed against the clock, its result, and who signed it off."""

from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import Response
from sqlmodel import Session

from app.recall.drills import actions, picking, queries
from app.recall.drills.routes import DrillCode
from app.recall.drills.schemas import CompletionIn, DrillIn, DrillOut, PickIn, PickOut, SignOffIn
from app.recall.drills.wording import scenario_text
from app.shared.paging import PageAsked
from app.shared.staff import Permission
from app.shared.times import now
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form, small_number
from app.web.routing import page_router
from app.web.shown import spoken
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/drills", N_("Recall drills"), Room.QUALITY, Permission.SIGN_DRILL),)

Recaller = Annotated[Desk, may(Permission.RECALL)]
Signer = Annotated[Desk, may(Permission.SIGN_DRILL)]

_OWN_GAPS: Final = 5


@router.get("/drills")
def list_drills(desk: Visiting, page: PageAsked) -> Response:
    """Show when a drill is due, how the last ones went, and every drill."""
    drills, following = desk.read(queries.drill_page, page, desk.settings)
    return desk.show(
        "drills.html",
        drills=drills,
        following=following,
        due=desk.read(queries.due, desk.settings),
        trend=desk.read(queries.trend, desk.settings),
    )


@router.get("/drills/draw")
def show_draw(desk: Recaller) -> Response:
    """Offer to draw at random what is traced."""
    return desk.show("drill_draw.html", desk.blank(PickIn))


@router.post("/drills/draw")
def draw(desk: Recaller) -> Response:
    """Draw a lot and a pack, and show what came out before the clock runs."""
    form = desk.sent(PickIn)
    if drawn := desk.book(form, picking.pick):
        return desk.onward(f"/drills/new?pick={drawn['id']}", _("Drawn. The clock stands still."))
    return desk.show("drill_draw.html", form)


@router.get("/drills/new")
def show_new(desk: Recaller) -> Response:
    """Show what was drawn, or ask for a lot and a pack of one's own choice."""
    return _new(desk, desk.blank(DrillIn))


def _new(desk: Desk, form: Form[DrillIn]) -> Response:
    number = small_number(form.value("pick"))
    drawn = None if number is None else desk.read(_drawn, number)
    return desk.show("drill_new.html", form, drawn=drawn)


def _drawn(session: Session, number: int) -> PickOut | None:
    return picking.picked(session, number)


@router.post("/drills/new")
def begin(desk: Recaller) -> Response:
    """Start the clock: both ways are traced and frozen."""
    form = desk.sent(DrillIn)
    if begun := desk.book(form, actions.begin):
        return desk.onward(f"/drills/{begun['code']}", _("The clock runs."))
    return _new(desk, form)


@router.get("/drills/{code}")
def show_drill(desk: Visiting, code: DrillCode) -> Response:
    """Show a drill with its clock, what was found, and what lacks."""
    found = desk.read(queries.drill, code, desk.settings)
    return desk.show(
        "drill.html", drill=found, running=_running(found), lacks=[_(each) for each in found.lacks],
        scenario=scenario_text(found.scenario, spoken()),
    )  # fmt: skip


def _running(found: DrillOut) -> int | None:
    """Tell for how many minutes the clock of a drill has been running."""
    if found.completed_at is not None:
        return None
    started: datetime = found.started_at
    return int((now() - started).total_seconds() // 60)


@router.get("/drills/{code}/complete")
def show_complete(desk: Recaller, code: DrillCode) -> Response:
    """Ask what was found lacking, before the clock stops."""
    return _step(desk, code, "complete", desk.blank(CompletionIn))


@router.post("/drills/{code}/complete")
def complete(desk: Recaller, code: DrillCode) -> Response:
    """Stop the clock and keep the figures."""
    form = desk.sent(CompletionIn)
    if done := desk.book(form, actions.complete, code):
        return desk.onward(f"/drills/{code}", _stopped(done))
    return _step(desk, code, "complete", form)


def _stopped(done: dict[str, Any]) -> str:
    told = _("The clock stopped after %(minutes)s minutes.") % {"minutes": done["minutes"]}
    return f"{told} {_('The goal was met.') if done['goal_met'] else _('The goal was missed.')}"


@router.get("/drills/{code}/sign-off")
def show_sign_off(desk: Signer, code: DrillCode) -> Response:
    """Show the result to whoever signs it off."""
    return _step(desk, code, "sign-off", desk.blank(SignOffIn))


@router.post("/drills/{code}/sign-off")
def sign_off(desk: Signer, code: DrillCode) -> Response:
    """Sign off a drill that somebody else ran."""
    form = desk.sent(SignOffIn)
    if desk.book(form, actions.sign_off, code):
        return desk.onward(f"/drills/{code}", _("Signed off."))
    return _step(desk, code, "sign-off", form)


def _step(desk: Desk, code: str, step: str, form: Form[Any]) -> Response:
    found = desk.read(queries.drill, code, desk.settings)
    return desk.show("drill_step.html", form, drill=found, step=step, own_gaps=_OWN_GAPS)
