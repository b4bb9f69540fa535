"""The task of bringing green coffee to the drum: what is planned, in which sacks, from where."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlalchemy import ColumnElement, func, or_, select
from sqlmodel import Session, col

from app.green.picking import actions as picking
from app.green.picking.queries import choices, lines, suggested
from app.green.picking.rules import suggest
from app.green.picking.schemas import PickLine, PickListIn
from app.green.reservations.tables import ReservationLot
from app.places import actions
from app.places.schemas import MoveIn
from app.places.tables import Location, PlaceKind
from app.roasting.batches.queries import Wanted, batch_page, still_planned
from app.settings import Settings
from app.shared.days import today_here
from app.shared.db import AnySelect
from app.shared.mass import grams_from_kg, kg_from_grams
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import forms
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.moving import told
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/bring", N_("Bring to the drum"), Room.STORE, Permission.MOVE, offline=True),)

Mover = Annotated[Desk, may(Permission.MOVE)]
Picker = Annotated[Desk, may(Permission.PICK)]

_MOST: Final = 200


class Wish(NamedTuple):
    """So many batches of a style on a machine."""

    style: str
    machine: str | None
    times: int


class Fetch(NamedTuple):
    """What is to be fetched of a lot for all batches that are planned until today."""

    lot: str
    grams: int
    batches: Sequence[Mapping[str, Any]]
    lines: Sequence[PickLine]
    short_g: int
    """What its sacks cannot give."""

    @property
    def wanted_for(self) -> list[Wish]:
        """What it is for, each style on each machine once."""
        counted = Counter((each["style"], each["machine"]) for each in self.batches)
        return [Wish(style, machine, times) for (style, machine), times in counted.items()]

    @property
    def kg(self) -> Decimal:
        """All of it, as a body says it."""
        return kg_from_grams(self.grams)


class Plan(NamedTuple):
    """All that is to be fetched, and where drums are charged from."""

    fetches: Sequence[Fetch]
    sides: Sequence[str]


def plan(session: Session, settings: Settings) -> Plan:
    """Read what is planned until today and not roasted; a fixed number of statements."""
    today = today_here()
    batches: Any
    batches, _more = batch_page(session, Page(_MOST, 0), Wanted("planned", None, today))
    wanted: dict[str, list[Any]] = {}
    for batch in batches:
        for green in batch["green"]:
            wanted.setdefault(green["lot"], []).append((batch, grams_from_kg(green["kg"])))
    sacks = choices(session, list(wanted)) if wanted else []
    sides = session.scalars(
        select(col(Location.code))
        .where(col(Location.kind) == PlaceKind.ROASTER_SIDE)
        .order_by(col(Location.id))
    )
    fetches = []
    for lot, parts in wanted.items():
        grams = sum(part for _batch, part in parts)
        draws = suggest([sack for sack in sacks if sack.lot == lot], grams)
        there_g = sum(draw.grams for draw in draws)
        fetches.append(Fetch(
            lot, grams, [batch for batch, _part in parts], lines(draws, settings), grams - there_g
        ))  # fmt: skip
    return Plan(fetches, list(sides))


def to_bring(last: ColumnElement[date]) -> AnySelect:
    """Select the sacks that `plan` names for a day, but for those that are beside a roaster."""
    planned = still_planned(last).subquery()
    part = ReservationLot
    wanted = (
        select(col(part.lot_id), func.sum(col(part.grams)).label("grams"))
        .join(planned, planned.c.reservation_id == col(part.reservation_id))
        .group_by(col(part.lot_id))
        .subquery()
    )
    sacks = suggested(wanted).subquery()
    return (
        select(sacks.c.id, sacks.c.code, sacks.c.grams, col(Location.code).label("stands_at"))
        .select_from(sacks)
        .outerjoin(Location, col(Location.id) == sacks.c.location_id)
        .where(or_(sacks.c.location_id.is_(None), col(Location.kind) != PlaceKind.ROASTER_SIDE))
    )


def _page(desk: Desk, form: Form[MoveIn], refused: Form[PickListIn] | None = None) -> Response:
    found = desk.read(plan, desk.settings)
    if not form.value("to") and len(found.sides) == 1:
        form.typed = {**form.typed, "to": found.sides}
    records = [
        refused if refused and refused.value("lots") == fetch.lot else forms.blank(PickListIn)
        for fetch in found.fetches
    ]
    return desk.show("bring.html", form, plan=found, records=records)


@router.get("/bring")
def show_bring(desk: Mover) -> Response:
    """Show which sacks to bring, and ask which were brought."""
    return _page(desk, desk.blank(MoveIn))


@router.post("/bring")
def bring(desk: Mover) -> Response:
    """Book that sacks stand beside the roaster now."""
    form = desk.sent(MoveIn)
    if moved := desk.book(form, actions.move):
        return desk.onward("/bring", told(moved))
    return _page(desk, form)


@router.post("/bring/list")
def record_list(desk: Picker) -> Response:
    """Put on record which sacks are to be fetched of a lot."""
    form = desk.sent(PickListIn)
    if made := desk.book(form, picking.record):
        return desk.onward(
            "/bring", _("Pick list %(number)s is on record.") % {"number": made["id"]}
        )
    return _page(desk, forms.blank(MoveIn), form)
