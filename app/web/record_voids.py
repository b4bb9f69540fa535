"""Voiding what was put on record by mistake and made no unit: it stays to be read, marked."""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Path, Query, Response
from pydantic import BaseModel

from app.green.certificates.actions import withdraw
from app.green.certificates.schemas import WithdrawIn
from app.green.instruments import actions as instruments
from app.green.instruments.schemas import CalibrationVoidIn
from app.green.readings import actions as readings
from app.green.readings.schemas import ReadingVoidIn
from app.ledger.corrections.schemas import ActVoidIn
from app.packing.materials.voids import void_change
from app.packing.weighing.voids import void_check
from app.quality.grading.schemas import RecordVoidIn
from app.quality.grading.voids import void_cupping, void_grading, void_sample
from app.roasting import voids as roasting
from app.sending.crates import actions as crates
from app.shared.codes import Code
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.value.actions import void_cost
from app.value.schemas import CostVoidIn
from app.web.desk import Desk, Visiting
from app.web.forms import Form
from app.web.routing import page_router
from app.web.texts import N_, _, ngettext

router = page_router()

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Of = Annotated[Code | None, Query()]


class Act(NamedTuple):
    """Something that can be voided."""

    name: str
    """Marked with `N_`."""
    action: Callable[..., BaseModel]
    body: type[BaseModel]
    permission: Permission
    back: str
    """Where it is listed; `{of}` is what it was about, `{id}` its number."""
    by_code: bool = False
    """Whether it is numbered within what it is about."""


ACTS: Final[Mapping[str, Act]] = {
    "check": Act(
        N_("Check of weight %(number)s"), void_check, ActVoidIn, Permission.VOID, "/weigh/{of}"
    ),
    "reading": Act(
        N_("Reading %(number)s"), readings.void, ReadingVoidIn, Permission.VOID,
        "/readings/{subject}",
    ),
    "sample": Act(
        N_("Sample %(number)s"), void_sample, RecordVoidIn, Permission.SAMPLE, "/samples?of={lot}"
    ),
    "colour": Act(
        N_("Colour %(number)s"), roasting.void_colour, ActVoidIn, Permission.VOID,
        "/roasted/{of}", by_code=True,
    ),
    "tasting": Act(
        N_("Tasting %(number)s"), roasting.void_cupping, ActVoidIn, Permission.CUP,
        "/roasted/{of}", by_code=True,
    ),
    "calibration": Act(
        N_("Calibration %(number)s"), instruments.void_calibration, CalibrationVoidIn,
        Permission.INSTRUMENTS, "/instruments/{instrument}", by_code=True,
    ),
    "cleaning": Act(
        N_("Cleaning %(number)s"), roasting.void_clean_down, ActVoidIn, Permission.VOID, "/clean",
        by_code=True,
    ),
    "place-cleaning": Act(
        N_("Cleaning %(number)s"), roasting.void_place_clean_down, ActVoidIn, Permission.VOID,
        "/clean", by_code=True,
    ),
    "crates": Act(
        N_("Crates, line %(number)s"), crates.void, ActVoidIn, Permission.VOID, "/crates"
    ),
    "grading": Act(
        N_("Grading %(number)s"), void_grading, RecordVoidIn, Permission.GRADE, "/grades/{lot}",
        by_code=True,
    ),
    "lot-cupping": Act(
        N_("Cupping %(number)s"), void_cupping, RecordVoidIn, Permission.GRADE, "/grades/{lot}",
        by_code=True,
    ),
    "lot-certificate": Act(
        N_("Certificate on record, number %(number)s"), withdraw, WithdrawIn,
        Permission.CERTIFICATES, "/green/{lot}", by_code=True,
    ),
    "cost": Act(N_("Cost %(number)s"), void_cost, CostVoidIn, Permission.COSTS, "/green"),
    "material-change": Act(
        N_("Count or write-off %(number)s"), void_change, ActVoidIn, Permission.VOID,
        "/material/{of}", by_code=True,
    ),
}  # fmt: skip
"""What the pages list and let somebody void, by its name in an address."""


def _act(desk: Desk, what: str) -> Act:
    if what not in ACTS:
        raise Refused("not-found", f"There is no act {what} that is voided here.")
    desk.staff.refuse_without(ACTS[what].permission)
    return ACTS[what]


def _ask(desk: Desk, what: str, number: int, of: str | None, form: Form[Any]) -> Response:
    heading = _(ACTS[what].name) % {"number": number}
    return desk.show("void_record.html", form, what=what, number=number, of=of, heading=heading)


@router.get("/void/{what}/{number}")
def show_act(desk: Visiting, what: str, number: Number, of: Of = None) -> Response:
    """Ask why it is voided."""
    return _ask(desk, what, number, of, desk.blank(_act(desk, what).body))


@router.post("/void/{what}/{number}")
def void_act(desk: Visiting, what: str, number: Number, of: Of = None) -> Response:
    """Say that it never was."""
    act = _act(desk, what)
    form = desk.sent(act.body)
    before = (of or "", number) if act.by_code else (number,)
    if made := desk.book(form, act.action, *before):
        return desk.onward(act.back.format(**made), told_of(made))
    return _ask(desk, what, number, of, form)


def told_of(made: Mapping[str, Any]) -> str:
    """Say that something was voided, and what stays."""
    told = _("Voided. It stays to be read, and counts for nothing.")
    holds = made.get("open_holds") or []
    stays = ngettext(
        "The hold it placed stays until quality releases it.",
        "The holds it placed stay until quality releases them.",
        len(holds),
    )
    return f"{told} {stays}" if holds else told
