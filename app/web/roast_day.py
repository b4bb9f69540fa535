"""The day at the roasters: what is next on which machine, what was roasted, what has to be."""

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit
from app.production import actions
from app.production.queries import needs
from app.production.schemas import NeedsOut, PlanIn
from app.roasting.queries import DISPOSITION
from app.roasting.tables import Machine, MachineRun, Roast
from app.settings import Settings
from app.shared.days import begin_of, end_of, today_here
from app.shared.periods import period
from app.shared.staff import Permission
from app.web.charges import Charge, waiting
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.gate import disposition
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (
    Task("/roasting", N_("Today's roasts"), Room.ROASTING, Permission.ROAST),
    Task("/roasting/needs", N_("What has to be roasted"), Room.ROASTING, Permission.PLAN),
)
Planner = Annotated[Desk, may(Permission.PLAN)]

MOST: Final = 200


class Day(NamedTuple):
    """What a day at the roasters looks like."""

    by_machine: Mapping[str | None, Sequence[Charge]]
    roasted: Sequence[Row[Any]]


def _day(session: Session, today: date) -> Day:
    charges = sorted(waiting(session, today), key=lambda each: each.batch["machine"] or "~")
    machines = groupby(charges, key=lambda each: each.batch["machine"])
    return Day({code: list(there) for code, there in machines}, _roasted(session, today))


def _roasted(session: Session, today: date) -> Sequence[Row[Any]]:
    """Read what came off the roasters on a day, the newest first."""
    return session.execute(
        select(
            col(Unit.code),
            col(Roast.style),
            col(Machine.code).label("machine"),
            col(Entry.happened_at),
            col(Roast.charge_g),
            col(Unit.made_g),
            DISPOSITION,
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .join(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .join(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(MachineRun.ran_at) >= begin_of(today), col(MachineRun.ran_at) < end_of(today))
        .order_by(col(Unit.id).desc())
        .limit(MOST)
    ).all()


@router.get("/roasting")
def show_day(desk: Visiting) -> Response:
    """Show what waits at each machine and what was roasted today."""
    day = desk.read(_day, today_here())
    return desk.show("roast_day.html", day=day, disposition=disposition)


def _needed(session: Session, settings: Settings, last: date) -> NeedsOut:
    return needs(session, period(today_here(), last, 1), settings)


def _needs(desk: Desk, form: Form[PlanIn]) -> Response:
    today = today_here()
    asked = desk.request.query_params.get("to", "")
    try:
        last = max(date.fromisoformat(asked), today)
    except ValueError:
        last = today
    return desk.show(
        "roast_needs.html", form, needs=desk.read(_needed, desk.settings, last), today=today
    )


@router.get("/roasting/needs")
def show_needs(desk: Planner) -> Response:
    """Show what orders ask of the roasters, until a day."""
    return _needs(desk, desk.blank(PlanIn, on=today_here()))


@router.post("/roasting/needs")
def plan(desk: Planner) -> Response:
    """Plan the batches that are needed and not planned yet."""
    form = desk.sent(PlanIn)
    if planned := desk.book(form, actions.plan_needs):
        return desk.onward("/roasting", _told(planned))
    return _needs(desk, form)


def _told(planned: Mapping[str, Any]) -> str:
    number = len(planned["batches"])
    told = ngettext("%(number)s batch planned.", "%(number)s batches planned.", number)
    left = [f"{each['style']}: {each['why']}." for each in planned["not_planned"]]
    return " ".join([told % {"number": number}, *left])
