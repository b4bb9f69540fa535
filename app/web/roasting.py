"""The task at a roaster: charge, weigh out, read the colour; and the verdict of the gate.

It is one form in three parts and one act of the API, so no half of a roast is ever in the book.
What is typed stays in the form, on the device and in the queue until it is booked.
"""

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlmodel import Session, col, select

from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, UnitKind
from app.roasting import actions, queries
from app.roasting.batches.queries import batch_row
from app.roasting.colours.actions import read_colour
from app.roasting.colours.schemas import ColourIn
from app.roasting.schemas import RoastIn
from app.roasting.styles.actions import style_named
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind
from app.shared.codes import Code, fold
from app.shared.days import today_here
from app.shared.staff import Permission
from app.web.charges import Charge, waiting
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form, Typed, small_number
from app.web.gate import CHECKS, disposition
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import local_minute, mass_kg, number, typed_mass, typed_number
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/roast", N_("Roast"), Room.ROASTING, Permission.ROAST, offline=True),)
_ROASTED: Final = frozenset({UnitKind.ROAST})
OFFERS = (
    Offer("/roasted/{code}", N_("Its verdict"), Permission.READ, _ROASTED, likely=_ROASTED),
    Offer("/roast?corrects={code}", N_("Correct it"), Permission.ROAST, _ROASTED),
)

Roaster = Annotated[Desk, may(Permission.ROAST)]
Measurer = Annotated[Desk, may(Permission.READING)]


class Bench(NamedTuple):
    """What a roaster may choose among."""

    charges: Sequence[Charge]
    styles: Sequence[str]
    drums: Sequence[str]


def _bench(session: Session) -> Bench:
    drums = select(Machine.code).where(col(Machine.kind) == MachineKind.ROASTER)
    return Bench(
        waiting(session, today_here()),
        session.exec(select(Style.name).order_by(col(Style.name_key))).all(),
        session.exec(drums.order_by(col(Machine.code))).all(),
    )


@router.get("/roast")
def show_roast(
    desk: Roaster,
    batch: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
    corrects: Annotated[Code | None, Query()] = None,
) -> Response:
    """Ask what is charged, what came out and how it looks; a planned batch fills in what it can."""
    bench = desk.read(_bench)
    filled: Mapping[str, str] = {}
    if corrects is not None and not _was_typed(desk):
        filled = desk.read(_as_booked, corrects)
    elif batch is not None and not _was_typed(desk):
        filled = next((each.fields for each in bench.charges if each.batch["id"] == batch), {})
    return _page(desk, desk.blank(RoastIn, **filled), bench)


def _was_typed(desk: Desk) -> bool:
    """Tell whether a link brings along what somebody typed: nothing is put over it."""
    return any(name.startswith("draws.") for name in desk.request.query_params)


def _page(desk: Desk, form: Form[RoastIn], bench: Bench | None = None) -> Response:
    bench = bench or desk.read(_bench)
    fills = {each.batch["id"]: each.fields for each in bench.charges}
    batches = [(str(each.batch["id"]), _batch(each)) for each in bench.charges]
    return desk.show(
        "roast.html",
        form,
        batches=batches,
        styles=[(name, name) for name in bench.styles],
        drums=[(code, code) for code in bench.drums],
        fills=json.dumps(fills),
    )


def _batch(charge: Charge) -> str:
    planned = charge.batch
    return f"{planned['id']}: {planned['style']}, {mass_kg(planned['charge_kg'])}"


@router.post("/roast")
def roast(desk: Roaster) -> Response:
    """Book the roast, and go on to what the gate says of it."""
    desk.typed = desk.read(_on_its_scale, desk.typed)
    form = desk.sent(RoastIn)
    if made := desk.book(form, actions.roast):
        return desk.onward(f"/roasted/{made['code']}", _told(made))
    return _page(desk, form)


def _on_its_scale(session: Session, typed: Typed) -> dict[str, Sequence[str]]:
    """Let a colour without a scale be read as its style has it."""
    said = {name: "".join(values).strip() for name, values in typed.items()}
    filled = dict(typed)
    style = _style(session, said)
    if style is not None and said.get("colour_reading.values"):
        for name, value in (("scale", style.colour_scale), ("form", style.colour_form)):
            if value and not said.get(f"colour_reading.{name}"):
                filled[f"colour_reading.{name}"] = [value]
    return filled


def _style(session: Session, said: Mapping[str, str]) -> Style | None:
    if said.get("style"):
        return style_named(session, said["style"])
    number = small_number(said.get("batch", ""))
    row = None if number is None else batch_row(session, number)
    return style_named(session, row.style) if row else None


def _told(made: Mapping[str, Any]) -> str:
    return _("%(code)s booked: %(end)s out of %(charge)s.") % {
        "code": made["code"],
        "end": mass_kg(made["end_kg"]),
        "charge": mass_kg(made["charge_kg"]),
    }


def _as_booked(session: Session, code: str) -> dict[str, str]:
    """Fill in what was said of a roast that is to be corrected."""
    unit = unit_by_code(session, code, UnitKind.ROAST)
    entry = session.get_one(Entry, unit.born_entry_id)
    said = json.loads(entry.facts)["said"]
    filled = {"corrects": unit.code, "roasted_at": local_minute(entry.happened_at)}
    filled |= typed_mass("end_kg", said["end_g"])
    for row, draw in enumerate(said["draws"]):
        filled[f"draws.{row}.sack"] = draw["sack"]
        filled |= typed_mass(f"draws.{row}.kg", draw["grams"])
        filled[f"draws.{row}.emptied"] = "true" if draw["emptied"] else ""
    for name in ("machine", "style", "batch", "to", "total_s"):
        filled[name] = str(said[name] or "")
    for name in ("drop_c", "colour_target", "colour_tolerance", "roasted_moisture_pct"):
        filled[name] = _numbers([said[name]])
    if said["profile_hit"] is not None:
        filled["profile_hit"] = "true" if said["profile_hit"] else "false"
    reading = said["colour_reading"] or {"values": [said["colour"]]}
    filled["colour_reading.values"] = _numbers(reading["values"])
    for name in ("scale", "form", "instrument"):
        filled[f"colour_reading.{name}"] = reading.get(name) or ""
    return {name: value for name, value in filled.items() if value}


def _numbers(said: Sequence[str | int | None]) -> str:
    """Write numbers of the journal as they are typed into a field."""
    return " ".join(typed_number(Decimal(each)) for each in said if each is not None)


@router.get("/roasted/{code}")
def show_verdict(desk: Visiting, code: str) -> Response:
    """Show what the gate found of a roast, in words and figures."""
    return _verdict(desk, str(fold(code)), desk.blank(ColourIn))


@router.post("/roasted/{code}")
def read_colour_again(desk: Measurer, code: Code) -> Response:
    """Read the colour of a roast that is booked; its gate stays, tasting decides."""
    form = desk.sent(ColourIn)
    if read := desk.book(form, read_colour, code):
        told = _("Colour %(mean)s booked.") % {"mean": number(read["mean"])}
        return desk.onward(f"/roasted/{read['roast']}", told)
    return _verdict(desk, code, form)


def _verdict(desk: Desk, code: str, form: Form[ColourIn]) -> Response:
    roast = desk.read(queries.roast, code, desk.settings)
    return desk.show(
        "roasted.html",
        form,
        roast=roast,
        checks=CHECKS,
        disposition=disposition,
        may_cup=desk.staff.may(Permission.CUP),
        may_read=desk.staff.may(Permission.READING),
    )
