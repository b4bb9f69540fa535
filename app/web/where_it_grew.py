"""What is said of where a lot grew: statements, time of production; and of a delivery the role."""

from typing import Annotated, Any, Final

from fastapi import Response

from app.green.evidence.actions import record, set_role
from app.green.evidence.rules import FirmRole
from app.green.evidence.schemas import DueDiligenceIn, RoleIn
from app.green.queries import delivery
from app.ledger.queries import unit_by_code
from app.ledger.tables import UnitKind
from app.shared.codes import Code, fold
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.texts import N_, _, options

router = page_router()

Keeper = Annotated[Desk, may(Permission.EVIDENCE)]

ROLES: Final = {
    FirmRole.OPERATOR: N_("operator: it brings this coffee onto the market of the Union"),
    FirmRole.TRADER: N_("trader: it bought what was on that market already"),
    FirmRole.NONE: N_("neither: the regulation asks nothing of it here"),
}


@router.get("/green/{code}/evidence")
def show_evidence(desk: Keeper, code: Code) -> Response:
    """Ask what is known of where a lot grew."""
    desk.read(unit_by_code, code, UnitKind.LOT)
    return _evidence_page(desk, code, desk.blank(DueDiligenceIn))


@router.post("/green/{code}/evidence")
def record_evidence(desk: Keeper, code: Code) -> Response:
    """Put it on record; what is left out stays as it was."""
    form = desk.sent(DueDiligenceIn)
    if form.unfinished:
        return _evidence_page(desk, code, form)
    if said := desk.book(form, record, code):
        return desk.onward(f"/green/{said['lot']}", _("It is on record."))
    return _evidence_page(desk, code, form)


def _evidence_page(desk: Desk, code: str, form: Form[Any]) -> Response:
    return desk.show("lot_evidence.html", form, code=code)


@router.get("/deliveries/{code}/role")
def show_role(desk: Keeper, code: str) -> Response:
    """Ask what the firm is for a delivery."""
    found = desk.read(delivery, code, desk.settings)
    return _role_page(desk, found.code, desk.blank(RoleIn))


@router.post("/deliveries/{code}/role")
def book_role(desk: Keeper, code: str) -> Response:
    """Put it on record, and with it for every lot that came in it."""
    form = desk.sent(RoleIn)
    if said := desk.book(form, set_role, code):
        return desk.onward(f"/deliveries/{said['delivery']}", _("It is on record."))
    return _role_page(desk, str(fold(code)), form)


def _role_page(desk: Desk, code: str, form: Form[Any]) -> Response:
    roles = options(ROLES)
    return desk.show("delivery_role.html", form, code=code, roles=roles)
