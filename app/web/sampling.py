"""Drawing samples: how many sacks the plan wants, out of which some was drawn, and what for."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlmodel import Session

from app.ledger.queries import unit_by_code
from app.ledger.tables import UnitKind
from app.quality.grading.queries import sample_page, sample_plan
from app.quality.grading.samples import take
from app.quality.grading.schemas import SampleIn, SamplePlanOut
from app.quality.grading.tables import SampleKind
from app.settings import Settings
from app.shared.codes import Code, fold
from app.shared.paging import Page
from app.shared.staff import Permission
from app.web import forms
from app.web.desk import Desk, may
from app.web.forms import Form, Typed, Unreadable
from app.web.offers import Offer, left
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext, options

router = page_router()

TASKS = (Task("/samples", N_("Draw a sample"), Room.STORE, Permission.SAMPLE),)
OFFERS = (
    Offer(
        "/samples?of={code}", N_("Draw a sample"), Permission.SAMPLE,
        frozenset({UnitKind.LOT, UnitKind.SACK}), left,
    ),
)  # fmt: skip

Sampler = Annotated[Desk, may(Permission.SAMPLE)]

KINDS: Final = {
    SampleKind.ARRIVAL: N_("of an arrival: to grade, taste and measure"),
    SampleKind.RETAINED: N_("to be kept for later checks"),
    SampleKind.OTHER: N_("for something else"),
    SampleKind.PRE_SHIPMENT: N_("sent before shipment, for approval"),
    SampleKind.OFFER: N_("sent with an offer"),
    SampleKind.TYPE: N_("of a type: what such coffee is like"),
}
"""What a sample is for; those that are drawn here first."""
SACKS: Final = "_sacks"
EACH: Final = "_each"
_MOST: Final = 100


class About(NamedTuple):
    """What is to be sampled: the plan of its lot, and the samples so far."""

    code: str
    lot: bool
    plan: SamplePlanOut | None
    samples: Sequence[Mapping[str, Any]]


def _about(session: Session, code: str, settings: Settings) -> About:
    unit = unit_by_code(session, code, UnitKind.LOT, UnitKind.SACK)
    whole = unit.kind == UnitKind.LOT
    plan = sample_plan(session, unit.code, settings) if whole else None
    samples, _following = sample_page(session, Page(_MOST, 0), unit.code, None)
    return About(unit.code, whole, plan, samples)


def _usual(about: About, settings: Settings) -> dict[str, list[str]]:
    """Fill in what most often is so: an arrival by its plan; of one sack something else."""
    each_g = about.plan.each_g if about.plan else settings.sample_increment_g
    return {
        "subject": [about.code],
        "kind": [str(SampleKind.ARRIVAL if about.lot else SampleKind.OTHER)],
        EACH: [str(each_g)],
        SACKS: [] if about.lot else [about.code],
    }


def _page(desk: Desk, about: About | None, form: Form[SampleIn]) -> Response:
    kinds = options(KINDS)
    return desk.show("samples.html", form, about=about, kinds=kinds, names=KINDS)


@router.get("/samples")
def show_samples(desk: Sampler, of: Annotated[Code | None, Query()] = None) -> Response:
    """Ask of which lot or sack, then out of which sacks how much was drawn."""
    form = desk.blank(SampleIn)
    about = desk.read(_about, of, desk.settings) if of else None
    if about is not None:
        form.typed = {**_usual(about, desk.settings), **form.typed}
    return _page(desk, about, form)


@router.post("/samples")
def take_sample(desk: Sampler) -> Response:
    """Book the sample; what was drawn leaves the sacks."""
    try:
        form = forms.sent(SampleIn, _with_draws(desk.typed))
    except Unreadable as unreadable:
        form = forms.kept(SampleIn, desk.typed)
        form.errors[EACH] = str(unreadable)
    else:
        form = _beside_what_was_typed(form)
    if made := desk.book(form, take):
        return desk.onward(f"/samples?of={made['subject']}", _told(made))
    return _page(desk, desk.read(_about, str(fold(form.value("subject"))), desk.settings), form)


def _with_draws(typed: Typed) -> Typed:
    """Draw the same out of each sack that was scanned: `from` as the API takes it."""
    sacks = " ".join(typed.get(SACKS, ())).split()
    if not sacks:
        return typed
    grams = forms.read_number("".join(typed.get(EACH, ())).strip())
    kilograms = f"{grams / Decimal(1000):f}"
    drawn = {f"from.{row}.sack": [sack] for row, sack in enumerate(dict.fromkeys(sacks))}
    return {**typed, **drawn, **{f"from.{row}.kg": [kilograms] for row in range(len(drawn))}}


def _beside_what_was_typed(form: Form[SampleIn]) -> Form[SampleIn]:
    """Say of the box that was scanned into what is wrong with a draw."""
    for name in [each for each in form.errors if each.startswith("from")]:
        said = form.errors.pop(name)
        form.errors.setdefault(EACH if name.endswith(".kg") else SACKS, said)
    return form


def _told(made: Mapping[str, Any]) -> str:
    sacks = len(made["from"])
    told = ngettext(
        "Sample %(id)s: %(mass)s out of %(number)s sack.",
        "Sample %(id)s: %(mass)s out of %(number)s sacks.",
        sacks,
    ) % {"id": made["id"], "mass": mass_kg(made["kg"] or 0), "number": sacks}
    plan = made["plan"]
    if plan and not plan["enough"]:
        told += " " + _("The plan wants %(number)s sacks.") % {"number": plan["sacks_to_sample"]}
    return told
