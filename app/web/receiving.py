"""The task of receiving a delivery: what the papers say, and sack by sack what came."""

from collections.abc import Sequence
from typing import Annotated, Any, Final

from fastapi import Response
from pycountry import countries
from sqlalchemy import select
from sqlmodel import Session, col

from app.green import actions
from app.green.schemas import DeliveryIn
from app.green.tables import Condition, GreenLot, Supplier
from app.settings import Settings
from app.shared.codes import fold
from app.shared.staff import Permission
from app.web import forms
from app.web.desk import Desk, may
from app.web.expected import Expected, expected
from app.web.forms import Form, Typed, Unreadable, small_number
from app.web.routing import page_router
from app.web.sack_lines import (
    SOUND,
    Line,
    Sum,
    added_up,
    grams_in,
    joined,
    lines_of,
    pasted,
    tare_of,
    tidied,
    with_lines,
)
from app.web.shown import local_minute, mass_kg, number
from app.web.tasks import Room, Task
from app.web.texts import N_, _, manner, ngettext, options

router = page_router()

TASKS = (Task("/receive", N_("Receive a delivery"), Room.STORE, Permission.RECEIVE, offline=True),)

Receiver = Annotated[Desk, may(Permission.RECEIVE)]

CONDITIONS: Final = {
    Condition.SOUND: N_("sound"),
    Condition.SLACK: N_("slack"),
    Condition.TORN: N_("torn"),
    Condition.WET: N_("wet"),
    Condition.MOULDY: N_("mouldy"),
}
"""What can be said of a sack, in the order in which it gets worse."""
_MOST_KNOWN: Final = 500


def _known(
    session: Session, settings: Settings
) -> tuple[Sequence[Expected], Sequence[str], Sequence[str]]:
    """Read what is expected, and the suppliers and coffees that are offered for typing."""
    suppliers = session.scalars(
        select(col(Supplier.name)).order_by(col(Supplier.name)).limit(_MOST_KNOWN)
    )
    coffees = session.scalars(
        select(col(GreenLot.name)).distinct().order_by(col(GreenLot.name)).limit(_MOST_KNOWN)
    )
    return expected(session, settings), list(suppliers), list(coffees)


def _page(desk: Desk, form: Form[DeliveryIn]) -> Response:
    waiting, suppliers, coffees = desk.read(_known, desk.settings)
    reference = fold(form.value("contract"))
    lots = form.rows("lots")
    return desk.show(
        "receive.html", form, waiting=waiting, suppliers=suppliers, coffees=coffees,
        contract=next((each for each in waiting if each.reference == reference), None),
        lots=lots, sums={lot: _sum(form, lot) for lot in lots},
        papers={lot: grams_in(form.typed, f"lots.{lot}.advised_kg") for lot in lots},
        lines={lot: lines_of(form.typed, lot) for lot in lots},
        conditions=options(CONDITIONS),
        origins=_origins(),
    )  # fmt: skip


def _origins() -> list[tuple[str, str]]:
    """Name the countries by the reader's own language, in its order."""
    names = manner().locale.territories
    found = [(each.alpha_2, names.get(each.alpha_2, each.name)) for each in countries]
    return sorted(found, key=lambda each: each[1])


def _sum(form: Form[DeliveryIn], lot: int) -> Sum:
    return added_up(lines_of(form.typed, lot), tare_of(form.typed, lot))


@router.get("/receive")
def show_receive(desk: Receiver) -> Response:
    """Ask what came; of a contract that is expected what is known is filled in."""
    form = desk.blank(DeliveryIn)
    asked = fold(form.value("contract"))
    known = next(
        (each for each in desk.read(expected, desk.settings) if each.reference == asked), None
    )
    if known is not None:
        filled = {"supplier": [known.supplier], "lots.0.origin": [known.origin or ""]}
        form.typed = filled | dict(form.typed)
    return _page(desk, form)


@router.post("/receive")
def receive(desk: Receiver) -> Response:
    """Book the delivery; or write down the next sacks, which books nothing yet."""
    if todo := forms.asks(desk.typed):
        return _page(desk, _written_down(desk.typed, todo))
    form = forms.sent(DeliveryIn, _with_a_time(tidied(desk.typed)))
    if received := desk.book(form, actions.receive):
        return desk.onward(f"/deliveries/{received['code']}", _told(received))
    return _page(desk, form)


def _with_a_time(typed: Typed) -> Typed:
    """Take now where somebody emptied the time."""
    said = any(value.strip() for value in typed.get("received_at", ()))
    return typed if said else {**typed, "received_at": [local_minute()]}


def _written_down(typed: Typed, todo: str) -> Form[DeliveryIn]:
    """Do what a button of the lines says: add, repeat or paste some, or begin another lot."""
    what, _point, number_said = todo.partition(".")
    form = forms.kept(DeliveryIn, tidied(typed))
    lot = small_number(number_said) or 0
    if what == "lot":
        form.typed = {**form.typed, f"lots.{len(form.rows('lots'))}.name": [""]}
        return form
    lines = lines_of(form.typed, lot)
    try:
        added, emptied = _asked_for(form, what, lot, lines)
    except Unreadable as unreadable:
        form.errors[f"_{'weights' if what == 'paste' else 'kg'}.{lot}"] = str(unreadable)
        return form
    form.typed = with_lines(form.typed, lot, joined([*lines, *added]))
    form.typed = {**form.typed, **{name: [""] for name in emptied}}
    return form


def _asked_for(
    form: Form[DeliveryIn], what: str, lot: int, lines: Sequence[Line]
) -> tuple[list[Line], Sequence[str]]:
    """Name the lines that a button adds, and the fields that are ready for the next ones then."""
    count, weight = form.value(f"_count.{lot}").strip(), form.value(f"_kg.{lot}").strip()
    if what == "again":
        if not lines:
            raise Unreadable(_("There is no line yet that could be repeated."))
        return [lines[-1]._replace(times=count or "1")], (f"_count.{lot}",)
    pounds = ":lb" if manner().mass_unit == "lb" else ""
    kind = "gross_kg" if form.value(f"_gross.{lot}") else "net_kg"
    condition, place = form.value(f"_condition.{lot}"), form.value(f"_place.{lot}")
    like = Line(weight, count, condition or SOUND, place.strip(), f"{kind}{pounds}")
    if what == "paste":
        return list(pasted(form.value(f"_weights.{lot}"), like)), (f"_weights.{lot}",)
    forms.read_number(weight)
    return [like], (f"_kg.{lot}", f"_count.{lot}", f"_condition.{lot}")


def _told(received: dict[str, Any]) -> str:
    sacks = sum(len(lot["sacks"]) for lot in received["lots"])
    whole = sum(lot["received_kg"] for lot in received["lots"])
    told = ngettext(
        "Received: %(number)s sack, %(mass)s.", "Received: %(number)s sacks, %(mass)s.", sacks
    ) % {"number": number(sacks), "mass": mass_kg(whole)}
    return " ".join([told, *(each["caution"] for each in received["cautions"])])
