"""Packing materials: what came is taken in, so that every bag can be traced to its roll."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, NamedTuple

from fastapi import Response
from sqlmodel import Session, col, select

from app.green.tables import Supplier
from app.packing.materials.actions import take_in
from app.packing.materials.queries import lot_page
from app.packing.materials.schemas import MaterialLotIn
from app.packing.materials.tables import Material
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.shown import number
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task(
        "/material", N_("Packing material came"), Room.PACKING, Permission.MATERIALS, offline=True
    ),
)

Keeper = Annotated[Desk, may(Permission.MATERIALS)]


class Stock(NamedTuple):
    """The materials there are, and what is left of their lots."""

    materials: Sequence[Material]
    suppliers: Sequence[str]
    lots: Sequence[Mapping[str, Any]]
    more: bool


def _stock(session: Session) -> Stock:
    lots, following = lot_page(session, Page(100, 0), None, True)
    return Stock(
        session.exec(select(Material).order_by(col(Material.code))).all(),
        session.exec(select(Supplier.name).order_by(col(Supplier.name))).all(),
        lots,
        following is not None,
    )


def _page(desk: Desk, form: Form[MaterialLotIn]) -> Response:
    stock = desk.read(_stock)
    materials = [(each.code, f"{each.code}: {each.name}") for each in stock.materials]
    return desk.show("material.html", form, stock=stock, materials=materials)


@router.get("/material")
def show_material(desk: Keeper) -> Response:
    """Ask what came, and show what is there."""
    return _page(desk, desk.blank(MaterialLotIn))


@router.post("/material")
def book_material(desk: Keeper) -> Response:
    """Book the lot, and ask for the next."""
    form = desk.sent(MaterialLotIn)
    if taken := desk.book(form, take_in):
        told = _("%(code)s booked: %(quantity)s of %(material)s.") % {
            "code": taken["code"],
            "quantity": number(taken["received"]),
            "material": taken["material"],
        }
        return desk.onward("/material", told)
    return _page(desk, form)
