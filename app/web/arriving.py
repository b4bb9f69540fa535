"""What is done with coffee that came before it is released: the delivery, and the work on a lot."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from pydantic import BaseModel
from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green import queries
from app.green.arrivals import exceptions, facts, receipts
from app.green.arrivals.checklist import arrivals_of
from app.green.arrivals.queries import arrival
from app.green.arrivals.schemas import (
    CloseIn,
    CountIn,
    ExceptionIn,
    ExceptionOut,
    InspectionIn,
    LotArrival,
    WeightIn,
)
from app.green.arrivals.tables import ExceptionKind
from app.green.schemas import DeliveryOut
from app.green.tables import Condition, Sack
from app.ledger.queries import unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.settings import Settings
from app.shared.codes import fold
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.texts import N_, _, options

router = page_router()

Receiver = Annotated[Desk, may(Permission.RECEIVE)]
Inspector = Annotated[Desk, may(Permission.INSPECT)]

STEPS: Final = {
    "count": N_("Count the sacks"),
    "weight": N_("Weigh it"),
    "inspection": N_("Look at it and smell"),
    "sample": N_("Draw a sample"),
    "moisture": N_("Read its moisture"),
}
"""The order of work, in words."""
CLOCKS: Final = {
    "weigh": N_("to weigh it"),
    "quality_claim": N_("to claim for quality"),
    "technical_claim": N_("any other claim"),
}
"""What days run for, from final discharge on."""


class Way(NamedTuple):
    """Where a step is done, and what somebody must be allowed to do there."""

    path: str
    needs: Permission


WAYS: Final = {
    "count": Way("/arrivals/{code}/count", Permission.RECEIVE),
    "weight": Way("/arrivals/{code}/weight", Permission.RECEIVE),
    "inspection": Way("/arrivals/{code}/inspection", Permission.INSPECT),
    "sample": Way("/samples?of={code}", Permission.SAMPLE),
    "moisture": Way("/moisture?subject={code}", Permission.READING),
}
KINDS: Final = {
    ExceptionKind.SLACK: N_("slack"),
    ExceptionKind.TORN: N_("torn"),
    ExceptionKind.REBAGGED: N_("rebagged"),
    ExceptionKind.WET: N_("wet or stained"),
    ExceptionKind.MOULDY: N_("mouldy"),
    ExceptionKind.TAINTED: N_("foreign smell"),
    ExceptionKind.INFESTED: N_("insects"),
    ExceptionKind.MISSING: N_("missing"),
    ExceptionKind.OVER: N_("too many"),
    ExceptionKind.OTHER: N_("something else"),
}
SIGNS: Final = {
    "musty_smell": N_("An earthy, musty or mouldy smell?"),
    "foreign_smell": N_("A foreign smell?"),
    "live_insects": N_("Live insects?"),
    "wet_marks": N_("Wet or stained sacks?"),
    "mould": N_("Mould?"),
    "husks_or_pods": N_("Husks or pods among the beans?"),
}


class _Came(NamedTuple):
    """A delivery, and by lot how far the work on it is and what was wrong with it."""

    delivery: DeliveryOut
    work: Mapping[str, LotArrival]
    wrong: Mapping[str, Sequence[ExceptionOut]]


def _delivery(session: Session, code: str, settings: Settings) -> _Came:
    found = queries.delivery(session, code, settings)
    lots = [lot.code for lot in found.lots if not lot.voided]
    rows = session.execute(select(col(Unit.id), col(Unit.code)).where(col(Unit.code).in_(lots)))
    codes = {row.id: row.code for row in rows}
    wrong: dict[str, list[ExceptionOut]] = {lot: [] for lot in lots}
    for each in exceptions.exceptions_of(session, list(codes)):
        wrong[each.lot].append(each)
    work = arrivals_of(session, list(codes))
    return _Came(found, {codes[lot]: each for lot, each in work.items()}, wrong)


def _show_delivery(desk: Desk, code: str, form: Form[CloseIn]) -> Response:
    came = desk.read(_delivery, code, desk.settings)
    return desk.show("delivery.html", form, **came._asdict(), steps=STEPS, ways=WAYS, kinds=KINDS)


@router.get("/deliveries/{code}")
def show_delivery(desk: Visiting, code: str) -> Response:
    """Show what came, and what is to be done with it next."""
    return _show_delivery(desk, str(fold(code)), desk.blank(CloseIn))


@router.post("/deliveries/{code}")
def close_receipt(desk: Receiver, code: str) -> Response:
    """Close the receipt, once every sack is accounted for."""
    form = desk.sent(CloseIn)
    if desk.book(form, receipts.close, str(fold(code))):
        return desk.onward(f"/deliveries/{fold(code)}", _("The receipt is closed."))
    return _show_delivery(desk, str(fold(code)), form)


@router.get("/arrivals/{code}")
def show_arrival(desk: Visiting, code: str) -> Response:
    """Show the order of work on a lot: what is done, and what is next."""
    found = desk.read(arrival, str(fold(code)), desk.settings)
    return desk.show(
        "arrival.html", arrival=found, steps=STEPS, ways=WAYS, kinds=KINDS, clocks=CLOCKS
    )


class _Work(NamedTuple):
    """A step of the work on a lot that has a form of its own."""

    name: str
    body: type[BaseModel]
    action: Callable[..., BaseModel]
    told: Callable[[dict[str, Any]], str]
    onward: str = "/arrivals/{lot}"
    """Where it goes on; `{id}` is the number of what was made."""


def _counted(made: dict[str, Any]) -> str:
    if made["reconciles"]:
        return _("Counted: every sack is accounted for.")
    return _(
        "Counted, and it does not reconcile: off by %(invoice)s against the papers and by %(book)s "
        "against the book."
    ) % {"invoice": made["against_invoice"], "book": made["against_book"]}


def _seen(made: dict[str, Any]) -> str:
    if made["clean"]:
        return _("Inspected. Clean-looking coffee can still contain mould toxins.")
    return _("Inspected. Hold it, keep it apart, and let a competent person decide.")


_COUNT = _Work("count", CountIn, facts.count, _counted)
_WEIGHT = _Work("weight", WeightIn, facts.weigh_lot, lambda _made: _("Weighed."))
_INSPECTION = _Work("inspection", InspectionIn, facts.inspect, _seen)
_EXCEPTION = _Work(
    "exception", ExceptionIn, exceptions.record_exception, lambda _made: _("Put on record."),
    onward="/exceptions/{id}/photos",
)  # fmt: skip


def _ask(desk: Desk, work: _Work, code: str, form: Form[Any] | None = None) -> Response:
    lot = str(fold(code))
    if form is None:
        desk.read(unit_by_code, lot, UnitKind.LOT)
    return desk.show(
        f"arrival_{work.name}.html", form or desk.blank(work.body), lot=lot, signs=SIGNS,
        kinds=options(KINDS),
    )  # fmt: skip


def _book(desk: Desk, work: _Work, code: str) -> Response:
    lot, form = str(fold(code)), desk.sent(work.body)
    if made := desk.book(form, work.action, lot):
        return desk.onward(work.onward.format(**made), work.told(made))
    return _ask(desk, work, lot, form)


def _as_received(session: Session, code: str) -> Counter[str]:
    """Count the sacks of a lot by how they were received: so most often they are counted, too."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    rows = session.execute(
        select(col(Sack.condition), func.count())
        .where(col(Sack.lot_id) == lot.id, col(Sack.condition) != Condition.SWEEPINGS)
        .group_by(col(Sack.condition))
    )
    return Counter({str(condition): number for condition, number in rows})


@router.get("/arrivals/{code}/count")
def show_arrival_count(desk: Receiver, code: str) -> Response:
    """Ask how many sacks were found; what was received stands there to be confirmed."""
    found = desk.read(_as_received, str(fold(code)))
    return _ask(desk, _COUNT, code, desk.blank(CountIn, **found))


@router.post("/arrivals/{code}/count")
def count_arrival(desk: Receiver, code: str) -> Response:
    """Put the count on record."""
    return _book(desk, _COUNT, code)


@router.get("/arrivals/{code}/weight")
def show_arrival_weight(desk: Receiver, code: str) -> Response:
    """Ask what a lot weighed."""
    return _ask(desk, _WEIGHT, code)


@router.post("/arrivals/{code}/weight")
def weigh_arrival(desk: Receiver, code: str) -> Response:
    """Put the weight on record."""
    return _book(desk, _WEIGHT, code)


@router.get("/arrivals/{code}/inspection")
def show_inspection(desk: Inspector, code: str) -> Response:
    """Ask what a lot looks and smells like."""
    return _ask(desk, _INSPECTION, code)


@router.post("/arrivals/{code}/inspection")
def inspect_arrival(desk: Inspector, code: str) -> Response:
    """Put the inspection on record; what calls for a hold places one."""
    return _book(desk, _INSPECTION, code)


@router.get("/arrivals/{code}/exception")
def show_exception(desk: Inspector, code: str) -> Response:
    """Ask what is wrong with which sacks."""
    return _ask(desk, _EXCEPTION, code)


@router.post("/arrivals/{code}/exception")
def record_exception(desk: Inspector, code: str) -> Response:
    """Put on record what is wrong."""
    return _book(desk, _EXCEPTION, code)
