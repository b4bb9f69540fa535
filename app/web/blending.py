"""The blend tray: what stands there, the shares of a recipe, and the blend."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from sqlmodel import Session, col, select

from app.packing.actions import blend
from app.packing.recipes.actions import recipe_named
from app.packing.recipes.rules import per_cent
from app.packing.recipes.tables import Recipe
from app.packing.schemas import BlendIn
from app.roasting.tables import Machine, MachineKind
from app.shared.mass import Grams, grams_from_kg, share_out
from app.shared.staff import Permission
from app.web.desk import Desk, may
from app.web.forms import Form, Unreadable, asks, in_place_of, kept, read_number
from app.web.gate import disposition
from app.web.parts import Loose, by_what_they_are, is_of, loose_coffee, take
from app.web.routing import page_router
from app.web.shown import kg_of_pounds, mass_kg, number, typed_mass
from app.web.tasks import Room, Task
from app.web.texts import N_, _, manner

router = page_router()

TASKS = (Task("/blend", N_("Blend"), Room.ROASTING, Permission.BLEND, offline=True),)

Blender = Annotated[Desk, may(Permission.BLEND)]

_SHARE: Final = "share"
"""What the button asks that shares a blend out by its recipe."""
_WHOLE: Final = "_whole"
"""The field of how much is to be blended: not of the body, which says how much of what."""


class Part(NamedTuple):
    """A component of a recipe for a blend of so much, and what it can be taken from."""

    name: str
    share_pct: Decimal
    grams: int
    taken: Sequence[tuple[Loose, int]]

    @property
    def short_g(self) -> int:
        return self.grams - sum(grams for _loose, grams in self.taken)


class Tray(NamedTuple):
    """What a blender may choose among, and what a recipe asks for."""

    recipes: Sequence[str]
    blenders: Sequence[str]
    loose: Sequence[Loose]
    parts: Sequence[Part]


def _tray(session: Session, recipe: str | None, grams: int) -> Tray:
    blenders = select(Machine.code).where(col(Machine.kind) == MachineKind.BLENDER)
    loose = loose_coffee(session)
    card = recipe_named(session, recipe)
    return Tray(
        session.exec(select(Recipe.name).order_by(col(Recipe.name_key))).all(),
        session.exec(blenders.order_by(col(Machine.code))).all(),
        loose,
        list(_parts(card, loose, grams)) if card and grams else [],
    )


def _parts(card: Recipe, loose: Sequence[Loose], grams: int) -> Sequence[Part]:
    """Share a blend out among the components, each from the oldest coffee of its name."""
    shares = [int(part["share_milli"]) for part in card.components]
    parts = []
    for part, share, wanted in zip(
        card.components, shares, share_out(Grams(grams), shares), strict=True
    ):
        own = [each for each in loose if is_of(each, str(part["name"]))]
        parts.append(Part(str(part["name"]), per_cent(share), wanted, take(own, wanted)))
    return parts


def _wanted_g(said: str) -> int:
    """Read how much is to be blended, in what was chosen; 0 where nothing is said."""
    try:
        typed = read_number(said.strip())
        return max(0, grams_from_kg(kg_of_pounds(typed) if manner().mass_unit == "lb" else typed))
    except (Unreadable, ValueError):
        return 0


def _filled(tray: Tray) -> dict[str, str]:
    filled: dict[str, str] = {}
    number = 0
    for part in tray.parts:
        for loose, grams in part.taken:
            filled[f"parts.{number}.unit"] = loose.code
            filled |= typed_mass(f"parts.{number}.kg", grams)
            filled[f"parts.{number}.component"] = part.name
            number += 1
    return filled


@router.get("/blend")
def show_blend(desk: Blender) -> Response:
    """Show what is there, and share a blend out by its recipe where one is asked for."""
    asked = desk.request.query_params
    tray = desk.read(_tray, asked.get("recipe"), _wanted_g(asked.get("whole", "")))
    typed = any(name.startswith("parts.") for name in asked)
    whole = {_WHOLE: asked["whole"]} if "whole" in asked else {}
    return _page(desk, desk.blank(BlendIn, **whole, **({} if typed else _filled(tray))), tray)


@router.post("/blend")
def book_blend(desk: Blender) -> Response:
    """Book the blend, or show its shares before."""
    if asks(desk.typed) == _SHARE:
        return _share_out(desk)
    desk.typed = desk.read(by_what_they_are, desk.typed, "parts")
    form = desk.sent(BlendIn)
    may_deviate = desk.staff.may(Permission.OFF_RECIPE)
    if desk.only_looks:
        return _page(desk, form, seen=desk.look(form, blend, may_deviate=may_deviate))
    if made := desk.book(form, blend, may_deviate=may_deviate):
        return desk.onward("/blend", _told(made))
    return _page(desk, form)


def _share_out(desk: Desk) -> Response:
    """Fill in the shares of a recipe, in place of what stood there."""
    form = kept(BlendIn, desk.typed)
    tray = desk.read(_tray, form.value("recipe"), _wanted_g(form.value(_WHOLE)))
    form.typed = in_place_of(desk.typed, "parts.", _filled(tray))
    return _page(desk, form, tray)


def _page(
    desk: Desk,
    form: Form[BlendIn],
    tray: Tray | None = None,
    seen: Mapping[str, Any] | None = None,
) -> Response:
    tray = tray or desk.read(_tray, None, 0)
    return desk.show(
        "blend.html",
        form,
        tray=tray,
        seen=seen,
        recipes=[(name, name) for name in tray.recipes],
        blenders=[(code, code) for code in tray.blenders],
        may_deviate=desk.staff.may(Permission.OFF_RECIPE),
        disposition=disposition,
    )


def _told(made: Mapping[str, Any]) -> str:
    shares = [f"{part['unit']} {number(part['share_pct'])} %" for part in made["parts"][:12]]
    return _("%(code)s booked: %(mass)s of %(parts)s.") % {
        "code": made["code"],
        "mass": mass_kg(made["kg"]),
        "parts": ", ".join(shares),
    }
