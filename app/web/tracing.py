"""Where coffee went and what it was made of: as tables, as a picture, and box by box."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from fastapi import Response
from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.tables import Unit, UnitKind
from app.shared.answers import Svg
from app.shared.db import among
from app.shared.mass import grams_from_kg
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.tracing.flow.queries import Boxed, boxes_of, flow_of_set
from app.tracing.flow.rules import Box, Node, Side
from app.tracing.flow.schemas import box_id
from app.tracing.flow.svg import draw, draw_in_page
from app.tracing.flow.wording import label
from app.tracing.queries import trace_set, traced
from app.tracing.schemas import Direction, TraceIn
from app.tracing.sheets import units_csv
from app.web.desk import Desk, Visiting
from app.web.forms import Form
from app.web.kinds import named
from app.web.offers import Offer
from app.web.rendering import as_file
from app.web.routing import page_router
from app.web.shown import country, spoken
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/trace", N_("Trace coffee"), Room.QUALITY, Permission.READ),)
OFFERS = (
    Offer("/trace?units={code}&direction=forward", N_("Where it went"), Permission.READ),
    Offer(
        "/trace?units={code}&direction=backward",
        N_("Where it came from"),
        Permission.READ,
        likely=frozenset({UnitKind.BLEND, UnitKind.RETURN}),
    ),
)

MOST: Final = 100
"""So many units of a stage are listed; the file has all."""
_STARTS: Final = ("units", "location", "material_lot")


class Stage(NamedTuple):
    """All units of one kind that a trace reached."""

    kind: UnitKind
    units: Sequence[Mapping[str, Any]]
    made_g: int
    left_g: int
    suspect_g: int
    held: int


class Grown(NamedTuple):
    """What a lot is called and where it grew."""

    name: str
    origin: str
    producer: str | None


class Traced(NamedTuple):
    """A trace with its picture."""

    answer: Mapping[str, Any]
    boxed: Boxed
    lots: Mapping[str, Grown]


@router.get("/trace")
def show_trace(desk: Visiting) -> Response:
    """Ask what is traced, or show it."""
    form, by = _asked(desk)
    if form.asked is None:
        return desk.show("trace_ask.html", form, by=by)
    try:
        found = desk.read(_trace, form.asked)
    except Refused as refused:
        form.refuse(refused)
        return desk.show("trace_ask.html", form, by=by)
    return desk.show("trace.html", None, **_shown(form, found))


def _asked(desk: Desk) -> tuple[Form[TraceIn], str]:
    """Read what is asked for out of the address, where anything is."""
    form = desk.blank(TraceIn)
    typed = dict(form.typed)
    by = (*typed.pop("by", ()), *(each for each in _STARTS if each in typed), "units")[0]
    typed.pop("box", None)
    form.typed = typed
    return (form.read() if any(name in typed for name in _STARTS) else form), by


def _trace(session: Session, asked: TraceIn) -> Traced:
    found = traced(session, asked)
    grown = {lot.code: Grown(lot.name, country(lot.origin), lot.producer) for lot in found.lots}
    return Traced(found.answer, boxes_of(session, found.walked, found.sent.traced), grown)


def _shown(form: Form[TraceIn], found: Traced) -> dict[str, object]:
    assert form.asked is not None  # noqa: S101 - looked at before
    ahead = form.asked.direction is Direction.FORWARD
    starts = [str(each["code"]) for each in found.answer["of"]]
    return {
        "trace": found.answer,
        "starts": starts,
        "title": _title(starts, ahead=ahead),
        "ahead": ahead,
        "stages": _stages(found.answer["units"]),
        "lots": found.lots,
        "picture": draw_in_page(
            found.boxed.flow,
            _title(starts, ahead=ahead),
            _addresses(form, found.boxed),
            spoken(),
        ),
        "named": named,
        "most": MOST,
        "same": _address(form, ""),
        "other_way": _address(form, "", direction="backward" if ahead else "forward"),
        "with_contact": None if form.asked.carry_over else _address(form, "", carry_over="true"),
        "further": _address(form, "", hops=str(form.asked.hops + 1)),
        "hops": form.asked.hops,
        "file": _address(form, "/units.csv"),
        "drawing": _address(form, "/flow.svg"),
        "codes": "\n".join(starts[:1000]),
    }


def _title(starts: Sequence[str], *, ahead: bool) -> str:
    what = starts[0] if len(starts) == 1 else _("%(number)s units") % {"number": len(starts)}
    return (_("Where %(what)s went") if ahead else _("Where %(what)s came from")) % {"what": what}


def _address(form: Form[TraceIn], what: str, **changed: str) -> str:
    pairs = [
        (name, value) for name, values in form.typed.items() if name not in changed
        for value in values if value
    ]  # fmt: skip
    return f"/trace{what}?{urlencode([*pairs, *changed.items()])}"


def _addresses(form: Form[TraceIn], boxed: Boxed) -> dict[Box, str]:
    """Lead from a box to its one unit, or to the list of its units."""
    return {
        node.box: f"/u/{node.codes[0]}"
        if node.units == 1
        else _address(form, "/box", box=box_id(node.box))
        for node in boxed.flow.nodes
        if node.box.side is Side.UNITS and node.units
    }


def _stages(units: Sequence[Mapping[str, Any]]) -> list[Stage]:
    by_kind: dict[UnitKind, list[Mapping[str, Any]]] = defaultdict(list)
    for unit in units:
        by_kind[UnitKind(unit["kind"])].append(unit)
    return [_stage(kind, by_kind[kind]) for kind in UnitKind if kind in by_kind]


def _stage(kind: UnitKind, units: Sequence[Mapping[str, Any]]) -> Stage:
    made, left, suspect = (
        sum(grams_from_kg(unit[name]) for unit in units)
        for name in ("made_kg", "left_kg", "suspect_kg")
    )
    return Stage(kind, units, made, left, suspect, sum(bool(unit["held"]) for unit in units))


@router.get("/trace/box")
def show_box(desk: Visiting, box: str) -> Response:
    """List the units that share a box of the picture."""
    form, _by = _asked(desk)
    if form.asked is None:
        raise Refused("not-found", _("No trace has that box."))
    node, units = desk.read(_in_box, form.asked, box)
    return desk.show(
        "trace_box.html", label=label(node, spoken()), node=node, units=units, named=named,
        most=500,
        back=_address(form, ""), ahead=form.asked.direction is Direction.FORWARD,
    )  # fmt: skip


def _in_box(session: Session, asked: TraceIn, wanted: str) -> tuple[Node, Sequence[Any]]:
    flow, gathered = flow_of_set(session, asked)
    node = next((each for each in flow.nodes if box_id(each.box) == wanted), None)
    if node is None:
        raise Refused("not-found", _("No trace has that box."))
    inside = [unit for unit, box in gathered.boxes.items() if box == node.box]
    units = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Unit.made_g), col(Unit.left_g))
        .where(among(session, col(Unit.id), inside))
        .order_by(col(Unit.id))
    ).all()
    return node, units


def _of_address(desk: Desk) -> TraceIn:
    form, _by = _asked(desk)
    if form.asked is None:
        raise Refused("not-found", _("The address does not say what is traced."))
    return form.asked


@router.get("/trace/units.csv")
def fetch_units(desk: Visiting) -> Response:
    """Fetch every unit of a trace as a table."""
    content = units_csv(desk.read(trace_set, _of_address(desk)))
    return Response(content, headers=as_file("trace.csv"), media_type="text/csv")


@router.get("/trace/flow.svg")
def fetch_picture(desk: Visiting) -> Response:
    """Fetch the picture of a trace."""
    asked = _of_address(desk)
    found = desk.read(flow_of_set, asked)
    starts = [found.gathered.codes[unit] for unit in found.gathered.start]
    named = _title(starts, ahead=asked.direction is Direction.FORWARD)
    picture = Svg(draw(found.flow, named, speech=spoken()))
    picture.headers.update(as_file("trace.svg"))
    return picture
