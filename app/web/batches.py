"""The task of planning batches, which keeps their green for them."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session, col, select

from app.roasting.batches.actions import plan
from app.roasting.batches.queries import next_planned
from app.roasting.batches.schemas import BatchesIn
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind
from app.shared.days import today_here
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (Task("/batches", N_("Plan batches"), Room.ROASTING, Permission.PLAN),)

Planner = Annotated[Desk, may(Permission.PLAN)]
_MOST: Final = 100


class Plan(NamedTuple):
    """What can be planned, and what is planned and not roasted, the earliest day first."""

    styles: Sequence[tuple[str, str]]
    drums: Sequence[tuple[str, str]]
    batches: Sequence[Mapping[str, Any]]
    more: bool


def _plan(session: Session) -> Plan:
    styles = session.exec(select(Style.name).order_by(col(Style.name)))
    drums = session.exec(
        select(Machine.code).where(Machine.kind == MachineKind.ROASTER).order_by(col(Machine.code))
    )
    batches = next_planned(session, _MOST + 1)
    return Plan(
        [(name, name) for name in styles],
        [(code, code) for code in drums],
        batches[:_MOST],
        len(batches) > _MOST,
    )


def _page(desk: Desk, form: Form[BatchesIn]) -> Response:
    return desk.show("batches.html", form, plan=desk.read(_plan))


@router.get("/batches")
def show_batches(desk: Planner) -> Response:
    """Show what is planned, and ask what is to be roasted when."""
    return _page(desk, desk.blank(BatchesIn, on=today_here(), count=1))


@router.post("/batches")
def plan_batches(desk: Planner) -> Response:
    """Plan them and keep their green; the day stays for the next."""
    form = desk.sent(BatchesIn)
    if planned := desk.book(form, plan):
        number = len(planned["batches"])
        told = ngettext("%(number)s batch planned.", "%(number)s batches planned.", number)
        on = planned["batches"][0]["on"]
        return desk.onward(f"/batches?on={on}", told % {"number": number})
    return _page(desk, form)
