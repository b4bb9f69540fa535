"""What is put on record for a green lot beside its coffee: certificates, and what it cost."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Response
from sqlmodel import Session, col, select

from app.green.certificates.actions import put_on_record
from app.green.certificates.schemas import LotCertificateIn
from app.green.certificates.tables import Certificate
from app.ledger.queries import unit_by_code
from app.ledger.tables import UnitKind
from app.shared.codes import Code
from app.shared.staff import Permission
from app.standards.buying import PriceUnit
from app.value.actions import add_cost
from app.value.schemas import CostIn
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.lots_for_buyers import COSTS
from app.web.routing import page_router
from app.web.texts import _, options

router = page_router()

Certifier = Annotated[Desk, may(Permission.CERTIFICATES)]
Bookkeeper = Annotated[Desk, may(Permission.COSTS)]


def _certificates(session: Session) -> Sequence[Certificate]:
    return session.exec(select(Certificate).order_by(col(Certificate.code))).all()


@router.get("/green/{code}/certificate")
def show_certificate(desk: Certifier, code: Code) -> Response:
    """Ask which certificate stands for a lot."""
    desk.read(unit_by_code, code, UnitKind.LOT)
    return _certificate_page(desk, code, desk.blank(LotCertificateIn))


@router.post("/green/{code}/certificate")
def book_certificate(desk: Certifier, code: Code) -> Response:
    """Put it on record."""
    form = desk.sent(LotCertificateIn)
    if made := desk.book(form, put_on_record, code):
        told = _("%(certificate)s is on record for %(lot)s.") % made
        return desk.onward(f"/green/{made['lot']}", told)
    return _certificate_page(desk, code, form)


def _certificate_page(desk: Desk, code: str, form: Form[LotCertificateIn]) -> Response:
    known = [(each.code, f"{each.code}: {each.claim}") for each in desk.read(_certificates)]
    return desk.show("lot_certificate.html", form, code=code, known=known)


@router.get("/green/{code}/cost")
def show_cost(desk: Bookkeeper, code: Code) -> Response:
    """Ask what a lot cost beside the price of its contract."""
    desk.read(unit_by_code, code, UnitKind.LOT)
    return _cost_page(desk, code, desk.blank(CostIn))


@router.post("/green/{code}/cost")
def book_cost(desk: Bookkeeper, code: Code) -> Response:
    """Book it, and ask for the next in the same currency."""
    form = desk.sent(CostIn)
    if made := desk.book(form, add_cost):
        told = _("Cost %(number)s is booked.") % {"number": made["id"]}
        return desk.onward(f"/green/{code}/cost?currency={made['currency']}", told)
    return _cost_page(desk, code, form)


def _cost_page(desk: Desk, code: str, form: Form[Any]) -> Response:
    kinds = options(COSTS)
    units = [(str(each), str(each)) for each in PriceUnit]
    return desk.show("lot_cost.html", form, code=code, kinds=kinds, units=units)
