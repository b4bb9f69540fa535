"""The packing line: fill bags, dates and warnings shown before; and what was packed today."""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlalchemy import Row
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.ledger.queries import on_hold, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing import queries
from app.packing.actions import pack
from app.packing.schemas import PackIn
from app.packing.tables import Pack, Product
from app.roasting.tables import Machine, MachineKind
from app.shared.codes import Code, fold
from app.shared.days import begin_of, end_of, today_here
from app.shared.staff import Permission
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form, asks, in_place_of, kept
from app.web.offers import Offer
from app.web.parts import Loose, by_what_they_are, is_of, loose_coffee, take
from app.web.routing import page_router
from app.web.shown import local_minute, typed_mass, typed_number
from app.web.tasks import Room, Task
from app.web.texts import N_, ngettext

router = page_router()

TASKS = (
    Task("/pack", N_("Fill bags"), Room.PACKING, Permission.PACK, offline=True),
    Task("/packing", N_("Packed today"), Room.PACKING, Permission.PACK),
)
_PACKED: Final = frozenset({UnitKind.PACK})
_OLDEST: Final = "oldest"
"""What the button asks that fills in the coffee."""
OFFERS = (
    Offer("/packed/{code}", N_("What is on its bags"), Permission.READ, _PACKED, likely=_PACKED),
    Offer("/pack?corrects={code}", N_("Correct it"), Permission.PACK, _PACKED),
)

Packer = Annotated[Desk, may(Permission.PACK)]

MOST: Final = 200
_USED: Final = ("used", "issued", "spoiled", "returned")


class Line(NamedTuple):
    """What a packer may choose among."""

    products: Sequence[Product]
    machines: Sequence[str]
    loose: Sequence[Loose]


def _line(session: Session) -> Line:
    machines = select(Machine.code).where(col(Machine.kind) == MachineKind.PACKING_LINE)
    return Line(
        session.exec(select(Product).order_by(col(Product.sku))).all(),
        session.exec(machines.order_by(col(Machine.code))).all(),
        loose_coffee(session),
    )


@router.get("/pack")
def show_pack(desk: Packer, corrects: Annotated[Code | None, Query()] = None) -> Response:
    """Ask what is filled from what; a product and a number of bags fill in the coffee for them."""
    line = desk.read(_line)
    filled: Mapping[str, str] = {}
    if not any(name.startswith("from.") for name in desk.request.query_params):
        asked = desk.request.query_params
        filled = (
            desk.read(_as_booked, corrects) if corrects
            else _coffee_for(line, asked.get("product", ""), asked.get("bags", ""))
        )  # fmt: skip
    return _page(desk, desk.blank(PackIn, **filled), line)


def _coffee_for(line: Line, sku: str, bags: str) -> dict[str, str]:
    """Take the oldest coffee of what a product is filled with, for so many bags."""
    product = next((each for each in line.products if each.sku == sku), None)
    made_of = (product.recipe or product.style) if product else None
    if product is None or made_of is None or not bags.isdecimal() or len(bags) > 7:  # noqa: PLR2004 - a million bags at the most
        return {}
    own = [each for each in line.loose if is_of(each, made_of)]
    filled: dict[str, str] = {}
    for row, (loose, grams) in enumerate(take(own, int(bags) * product.nominal_g)):
        filled[f"from.{row}.unit"] = loose.code
        filled |= typed_mass(f"from.{row}.kg", grams)
    return filled


@router.post("/pack")
def book_pack(desk: Packer) -> Response:
    """Book the run, or show its dates, its lot mark and its warnings before."""
    if asks(desk.typed) == _OLDEST:
        return _fill_in(desk)
    desk.typed = desk.read(by_what_they_are, desk.typed, "from")
    form = desk.sent(PackIn)
    if desk.only_looks:
        return _page(desk, form, seen=desk.look(form, pack))
    if made := desk.book(form, pack):
        return desk.onward(f"/packed/{made['code']}", _told(made))
    return _page(desk, form)


def _fill_in(desk: Desk) -> Response:
    """Fill in the oldest coffee for what was chosen, in place of what stood there."""
    line = desk.read(_line)
    form = kept(PackIn, desk.typed)
    filled = _coffee_for(line, form.value("product"), form.value("bags").strip())
    form.typed = in_place_of(desk.typed, "from.", filled)
    return _page(desk, form, line)


def _page(
    desk: Desk,
    form: Form[PackIn],
    line: Line | None = None,
    seen: Mapping[str, Any] | None = None,
) -> Response:
    line = line or desk.read(_line)
    return desk.show(
        "pack.html",
        form,
        line=line,
        seen=seen,
        day_of=date.fromisoformat,
        products=[(each.sku, f"{each.sku}: {each.name}") for each in line.products],
        machines=[(code, code) for code in line.machines],
    )


def _told(made: Mapping[str, Any]) -> str:
    told = ngettext("%(number)s bag booked as %(code)s.", "%(number)s bags booked as %(code)s.",
                    made["bags"])  # fmt: skip
    return told % {"number": made["bags"], "code": made["code"]}


def _as_booked(session: Session, code: str) -> dict[str, str]:
    """Fill in what was said of a pack that is to be corrected."""
    unit = unit_by_code(session, code, UnitKind.PACK)
    entry = session.get_one(Entry, unit.born_entry_id)
    said = json.loads(entry.facts)["said"]
    filled = {"corrects": unit.code, "packed_at": local_minute(entry.happened_at)}
    for name in ("product", "machine", "bags", "best_before", "film_roll"):
        filled[name] = str(said[name] or "")
    for row, part in enumerate(said["parts"]):
        filled[f"from.{row}.unit"] = part["unit"] or ""
        filled[f"from.{row}.place"] = part["place"] or ""
        filled |= typed_mass(f"from.{row}.kg", part["grams"])
    for row, use in enumerate(said["materials"]):
        filled[f"materials.{row}.lot"] = use["lot"]
        for name in _USED:
            milli = use[f"{name}_milli"]
            filled[f"materials.{row}.{name}"] = (
                "" if milli is None else typed_number(Decimal(milli) / 1000)
            )
    return {name: value for name, value in filled.items() if value}


@router.get("/packed/{code}")
def show_packed(desk: Visiting, code: str) -> Response:
    """Show what goes onto the bags of a pack, and what was pointed out when it was packed."""
    made = desk.read(queries.pack, str(fold(code)))
    return desk.show(
        "packed.html",
        pack=made,
        may_weigh=desk.staff.may(Permission.WEIGH),
        may_label=desk.staff.may(Permission.LABELS),
    )


def packed_on(session: Session, today: date) -> Sequence[Row[Any]]:
    """Read what was packed on a day, the newest first."""
    return session.execute(
        sql_select(
            col(Unit.code),
            col(Product.sku),
            col(Product.name),
            col(Pack.bags),
            col(Pack.best_before),
            col(Entry.happened_at),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Pack, col(Pack.unit_id) == col(Unit.id))
        .join(Product, col(Product.id) == col(Pack.product_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Entry.happened_at) >= begin_of(today), col(Entry.happened_at) < end_of(today))
        .where(col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id).desc())
        .limit(MOST)
    ).all()


@router.get("/packing")
def show_day(desk: Packer) -> Response:
    """List what was packed today, with its next steps."""
    return desk.show("packed_day.html", packs=desk.read(packed_on, today_here()))
