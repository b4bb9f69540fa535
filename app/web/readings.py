"""Readings: what is to be read, any kind of reading, and the series of one subject."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session

from app.green.condition.climate import climate_page
from app.green.condition.queries import condition_of, watch_page
from app.green.condition.schemas import LotCondition, PointOut, TrendOut, WatchedPlace
from app.green.readings import actions, queries
from app.green.readings.rules import NO_METHOD, AlarmKind
from app.green.readings.schemas import ReadingIn, ReadingOut
from app.green.readings.tables import ReadingKind
from app.ledger.cards import find
from app.ledger.queries import unit_by_code
from app.ledger.tables import UnitKind
from app.places.actions import LOCATIONS
from app.settings import Settings
from app.shared.codes import fold
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.moistures import WORDS
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import number
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task("/watch", N_("Watch moisture and rooms"), Room.STORE, Permission.READ),
    Task("/measure", N_("Take any reading"), Room.STORE, Permission.READING, offline=True),
)
OFFERS = (
    Offer(
        "/readings/{code}", N_("Its readings"), Permission.READ,
        frozenset({UnitKind.LOT, UnitKind.SACK}),
    ),
)  # fmt: skip

Measurer = Annotated[Desk, may(Permission.READING)]

KINDS: Final = {
    ReadingKind.MOISTURE: (N_("moisture"), "%"),
    ReadingKind.WATER_ACTIVITY: (N_("water activity"), ""),
    ReadingKind.DENSITY: (N_("density"), "g/l"),
    ReadingKind.TEMPERATURE: (N_("temperature"), "\N{DEGREE SIGN}C"),
    ReadingKind.RELATIVE_HUMIDITY: (N_("relative humidity"), "%"),
    ReadingKind.COLOUR: (N_("colour"), ""),
}
"""What can be read, and in what unit."""
TODO: Final = {
    AlarmKind.MOISTURE_HIGH: N_(
        "Keep it apart, read it again with another instrument, and tell quality. Damp coffee can "
        "mould: do not breathe the dust."
    ),
    AlarmKind.MOISTURE_LOW: N_("Read it again, look at the room, and tell quality."),
    AlarmKind.WATER_ACTIVITY_HIGH: N_(
        "Keep it apart and tell quality. Above the limit moulds can grow; a competent person "
        "decides."
    ),
    AlarmKind.DRIFT: N_("Look at the room it stands in, and read its neighbours."),
    AlarmKind.HUMIDITY_HIGH: N_("Air or dry the room, and read the lots that stand there."),
    AlarmKind.HUMIDITY_DAMP: N_("Air or dry the room, and read the lots that stand there."),
}  # fmt: skip
"""What to do about an alarm."""
_MOST: Final = 100
_ALL: Final = 5000
_WIDE, _HIGH, _EDGE = 420, 190, 34


class Dot(NamedTuple):
    """A reading in the drawing of a series."""

    x: int
    y: int
    value: Decimal
    trusted: bool


class Chart(NamedTuple):
    """A series of moistures as it is drawn, in whole units of its view box."""

    method: str | None
    """None where the readings name none."""
    dots: Sequence[Dot]
    low: int
    high: int
    """Where the range begins and ends."""
    limits: tuple[Decimal, Decimal]
    points: Sequence[PointOut]


def _chart(trend: TrendOut, limits: tuple[Decimal, Decimal]) -> Chart:
    points, (low, high) = trend.points, limits
    method = None if trend.method == NO_METHOD else trend.method
    values = [Decimal(point.value_pct) for point in points]
    bottom, top = min(*values, low) - 1, max(*values, high) + 1
    first, last = points[0].taken_at, points[-1].taken_at
    span = max(1, int((last - first).total_seconds()))

    def height(value: Decimal) -> int:
        return int(_EDGE + (top - value) / (top - bottom) * (_HIGH - 2 * _EDGE))

    def along(point: PointOut) -> int:
        since = int((point.taken_at - first).total_seconds())
        return _EDGE + since * (_WIDE - 2 * _EDGE) // span

    dots = [
        Dot(along(point), height(value), value, point.trusted)
        for point, value in zip(points, values, strict=True)
    ]
    return Chart(method, dots, height(low), height(high), limits, points)


def _watched(session: Session, settings: Settings) -> tuple[list[Any], list[Any]]:
    """Read lots, as the API lists them, and rooms that somebody has to look after."""
    lots, _more = watch_page(session, Page(_MOST, 0), settings, None, None)
    places, _more = climate_page(session, Page(_MOST, 0), settings, None)
    # As they are answered, kilograms and all: read as a model these would be taken for grams.
    watched = [
        {**each, "taken_at": datetime.fromisoformat(at) if (at := each["taken_at"]) else None}
        for each in map(dict[str, Any], lots)
    ]
    return watched, [WatchedPlace.model_validate(each) for each in places]


@router.get("/watch")
def show_watch(desk: Visiting) -> Response:
    """Show lots and rooms that are not as they should be, or were not read for long."""
    lots, places = desk.read(_watched, desk.settings)
    return desk.show("watch.html", lots=lots, places=places, bands=WORDS)


class Series(NamedTuple):
    """The readings of one subject."""

    code: str
    readings: Sequence[ReadingOut]
    condition: LotCondition | None
    """What they say together, of a lot."""
    place: bool


def _series(session: Session, code: str, settings: Settings) -> Series:
    place = find(session, LOCATIONS, code) is not None
    unit = None if place else unit_by_code(session, code)
    rows, _more = queries.readings_of(session, Page(_ALL, 0), code, None, settings)
    lot = unit if unit and unit.kind == UnitKind.LOT else None
    condition = condition_of(session, lot, settings) if lot else None
    shown = [ReadingOut.model_validate(row) for row in reversed(rows)]
    return Series(code, shown, condition, place)


@router.get("/readings/{code}")
def show_readings(desk: Visiting, code: str) -> Response:
    """Show what was read of a lot, a sack, a roast or a place, and what it says."""
    series = desk.read(_series, str(fold(code)), desk.settings)
    trends = series.condition.trends if series.condition else []
    charts = [
        _chart(trend, desk.settings.moisture_range_pct)
        for trend in trends
        if trend.subject == series.code
    ]
    return desk.show(
        "readings.html", series=series, charts=charts, bands=WORDS, kinds=KINDS, todo=TODO,
        most=_MOST, wide=_WIDE, high=_HIGH, edge=_EDGE,
    )  # fmt: skip


def _ask(desk: Desk, form: Form[ReadingIn]) -> Response:
    kinds = [
        (str(kind), f"{_(said)}, {unit}" if unit else _(said))
        for kind, (said, unit) in KINDS.items()
    ]
    return desk.show("measure.html", form, kinds=kinds)


@router.get("/measure")
def show_measure(desk: Measurer) -> Response:
    """Ask what was read of what."""
    return _ask(desk, desk.blank(ReadingIn))


@router.post("/measure")
def measure(desk: Measurer) -> Response:
    """Book the reading, and keep its kind and instrument for the next."""
    form = desk.sent(ReadingIn)
    if taken := desk.book(form, actions.read):
        return desk.onward(f"/measure?kind={taken['kind']}", _told(taken))
    return _ask(desk, form)


def _told(taken: dict[str, Any]) -> str:
    said, unit = KINDS[ReadingKind(taken["kind"])]
    told = f"{taken['subject']}: {_(said)} {number(taken['value'])} {unit}".strip() + "."
    return " ".join([told, *to_mind(taken)])


def to_mind(taken: Mapping[str, Any]) -> list[str]:
    """Say what is to be minded about a reading, and done about it."""
    alarms = [f"{_sentence(each['detail'])} {_(TODO[each['kind']])}" for each in taken["alarms"]]
    return alarms + [_sentence(each["detail"]) for each in taken["flags"]]


def _sentence(said: str) -> str:
    return f"{said[:1].upper()}{said[1:]}."
