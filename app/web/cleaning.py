"""The task of putting a clean-down on record: of a machine, or of a silo, hopper or tray."""

from collections.abc import Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlalchemy import Row, func, literal, select, union_all
from sqlmodel import Session, col

from app.ledger.cards import find
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen
from app.ledger.tables import Entry
from app.places.tables import Location
from app.roasting.machines import MACHINES, clean_down
from app.roasting.schemas import CleanDownIn, CleanDownOut
from app.roasting.silos.cleaning import clean_place
from app.roasting.silos.schemas import PlaceCleanDownOut
from app.roasting.silos.tables import PlaceCleanDown
from app.roasting.tables import CleanDown, Machine
from app.shared.codes import PlaceCode
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task("/clean", N_("Machine or silo cleaned"), Room.ROASTING, Permission.CLEAN, offline=True),
)

Cleaner = Annotated[Desk, may(Permission.CLEAN)]

_LATEST: Final = 20
"""So many clean-downs are listed, the newest first."""


class CleanedIn(CleanDownIn):
    what: PlaceCode
    """The code of a machine or of a place."""


def clean(pen: Pen, asked: CleanedIn) -> CleanDownOut | PlaceCleanDownOut:
    """Record the clean-down of whichever it is."""
    said = CleanDownIn.model_construct(cleaned_at=asked.cleaned_at, note=asked.note)
    if find(pen.session, MACHINES, asked.what):
        return clean_down(pen, asked.what, said)
    return clean_place(pen, asked.what, said)


def _machines(session: Session) -> Sequence[Row[Any]]:
    """Name every machine, and when it was cleaned last."""
    voided = select(col(ActVoid.clean_down_id)).where(col(ActVoid.clean_down_id).is_not(None))
    return session.execute(
        select(col(Machine.code), func.max(col(CleanDown.cleaned_at)).label("cleaned_at"))
        .outerjoin(
            CleanDown,
            (col(CleanDown.machine_id) == col(Machine.id)) & col(CleanDown.id).not_in(voided),
        )
        .group_by(col(Machine.code))
        .order_by(col(Machine.code))
    ).all()


def _latest(session: Session) -> Sequence[Row[Any]]:
    """Name the newest clean-downs of machines and of places, voided ones too."""
    machine = (
        select(
            literal("cleaning").label("what"), col(CleanDown.id), col(Machine.code),
            col(CleanDown.cleaned_at), col(CleanDown.note), col(CleanDown.entry_id),
            col(ActVoid.reason),
        )
        .join(Machine, col(Machine.id) == col(CleanDown.machine_id))
        .outerjoin(ActVoid, col(ActVoid.clean_down_id) == col(CleanDown.id))
    )  # fmt: skip
    place = (
        select(
            literal("place-cleaning"), col(PlaceCleanDown.id), col(Location.code),
            col(PlaceCleanDown.cleaned_at), col(PlaceCleanDown.note), col(PlaceCleanDown.entry_id),
            col(ActVoid.reason),
        )
        .join(Location, col(Location.id) == col(PlaceCleanDown.location_id))
        .outerjoin(ActVoid, col(ActVoid.place_clean_down_id) == col(PlaceCleanDown.id))
    )  # fmt: skip
    both = union_all(machine, place).subquery()
    return session.execute(
        select(both, col(Entry.who))
        .join(Entry, col(Entry.id) == both.c.entry_id)
        .order_by(both.c.entry_id.desc())
        .limit(_LATEST)
    ).all()


class Cleaned(NamedTuple):
    """When what was cleaned."""

    machines: Sequence[Row[Any]]
    latest: Sequence[Row[Any]]


def _cleaned(session: Session) -> Cleaned:
    return Cleaned(_machines(session), _latest(session))


def _page(desk: Desk, form: Form[CleanedIn]) -> Response:
    return desk.show("clean.html", form, cleaned=desk.read(_cleaned))


@router.get("/clean")
def show_clean(desk: Cleaner) -> Response:
    """Ask what was cleaned."""
    return _page(desk, desk.blank(CleanedIn))


@router.post("/clean")
def book_clean(desk: Cleaner) -> Response:
    """Book that it was emptied and cleaned: nothing carries over past it."""
    form = desk.sent(CleanedIn)
    if cleaned := desk.book(form, clean):
        what = cleaned.get("machine") or cleaned["location"]
        return desk.onward("/clean", _("%(what)s was cleaned.") % {"what": what})
    return _page(desk, form)
