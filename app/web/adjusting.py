"""Saying that coffee became lighter or heavier: a unit, or all that mixed in a place."""

from collections.abc import Mapping
from typing import Annotated, Any, Final, get_args

from fastapi import Query, Response
from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.posting import Pen
from app.ledger.schemas import Adjusting, AdjustmentIn, AdjustmentOut, Bookable
from app.ledger.tables import Reason, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.mixing import mixed_in
from app.roasting.silos.adjusting import adjust, adjust_place
from app.roasting.silos.schemas import PlaceAdjustmentOut
from app.shared.codes import PlaceCode, fold
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web import forms
from app.web.desk import Desk, may
from app.web.forms import Form, Typed
from app.web.kinds import REASONS
from app.web.offers import Offer, standing
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.tasks import Room, Task
from app.web.texts import N_, _, options

router = page_router()

TASKS = (Task("/adjust", N_("Adjust a weight"), Room.STORE, Permission.ADJUST, offline=True),)
OFFERS = (
    Offer(
        "/adjust?what={code}", N_("Adjust its weight"), Permission.ADJUST,
        frozenset({UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN}),
        standing,
    ),
)  # fmt: skip

Adjuster = Annotated[Desk, may(Permission.ADJUST)]

WAY: Final = "_way"
"""The field that says whether there is less or more than the book has."""
LESS: Final = "less"
_SIGNS: Final = ("+", "-", "\N{MINUS SIGN}")
WAYS: Final = {LESS: N_("less than the book has"), "more": N_("more than the book has")}


class AdjustedIn(Adjusting):
    what: PlaceCode
    """The code of a unit, or of a place in which coffee mixes."""


def adjust_what(pen: Pen, asked: AdjustedIn) -> AdjustmentOut | PlaceAdjustmentOut:
    """Adjust whichever it is."""
    said = {name: getattr(asked, name) for name in Adjusting.model_fields}
    if _unit(pen.session, asked.what) is not None:
        return adjust(pen, AdjustmentIn.model_construct(unit=asked.what, **said))
    return adjust_place(pen, asked.what, Adjusting.model_construct(**said))


def _unit(session: Session, code: str) -> Unit | None:
    return session.scalars(select(Unit).where(col(Unit.code) == code)).first()


def _left_g(session: Session, code: str) -> int:
    """Tell what the book has of a unit, or of all that mixed in a place."""
    unit = _unit(session, code)
    if unit is not None:
        return unit.left_g
    return sum(each.left_g for each in mixed_in(session, card_at(session, LOCATIONS, code)))


@router.get("/adjust")
def show_adjust(desk: Adjuster, what: Annotated[PlaceCode | None, Query()] = None) -> Response:
    """Ask what became lighter or heavier, by how much and why."""
    left_g = desk.read(_left_g, what) if what else None
    return _page(desk, desk.blank(AdjustedIn), left_g)


@router.post("/adjust")
def book_adjustment(desk: Adjuster) -> Response:
    """Book it, and be ready for the next."""
    form = forms.sent(AdjustedIn, _signed(desk.typed))
    form.typed = desk.typed
    if form.value(WAY) not in WAYS:
        form.asked, form.errors[WAY] = None, _("This is needed.")
    for name in _with_sign(desk.typed):
        said = _("Write it without a sign: less or more is said above it.")
        form.asked, form.errors[name] = None, said
    if made := desk.book(form, adjust_what):
        return desk.onward("/adjust", _told(made), mind=bool(made["warnings"]))
    return _page(desk, form, desk.read(_there_g, form.value("what")))


def _there_g(session: Session, typed: str) -> int | None:
    """Tell what the book has of what was typed; None where it knows no such thing."""
    try:
        return _left_g(session, str(fold(typed)))
    except Refused:
        return None


def _is_mass(name: str) -> bool:
    return name.partition(":")[0] == "kg"


def _with_sign(typed: Typed) -> list[str]:
    """Name the fields whose mass has a sign, which would turn what was chosen into its opposite."""
    return [
        name
        for name, values in typed.items()
        if _is_mass(name) and any(each.strip().startswith(_SIGNS) for each in values)
    ]


def _signed(typed: Typed) -> Typed:
    """Write what is missing as the negative mass that the API takes."""
    if [*typed.get(WAY, ())] != [LESS]:
        return typed
    return {
        name: [f"-{each.strip()}" for each in values if each.strip()] if _is_mass(name) else values
        for name, values in typed.items()
    }


def _page(desk: Desk, form: Form[AdjustedIn], left_g: int | None = None) -> Response:
    return desk.show(
        "adjust.html", form, left_g=left_g,
        ways=options(WAYS),
        reasons=[(reason, _(REASONS[Reason(reason)])) for reason in get_args(Bookable)],
    )  # fmt: skip


def _told(made: Mapping[str, Any]) -> str:
    if "location" in made:
        told = _("%(place)s: %(mass)s, to each by its part.") % {
            "place": made["location"], "mass": mass_kg(made["kg"]),
        }  # fmt: skip
    else:
        told = _("%(unit)s now holds %(mass)s.") % {
            "unit": made["unit"], "mass": mass_kg(made["left_kg"]),
        }  # fmt: skip
    return " ".join([told, *made["warnings"]])
