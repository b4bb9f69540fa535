"""Check-weighing at the line: bag after bag, with limits, chart and advice after each.

The weights of a check stay in its form until all of it is booked: a check is one act of the API.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.packing.charts.queries import pack_chart
from app.packing.charts.rules import PackChart
from app.packing.charts.wording import describe_pack
from app.packing.tables import Pack, Product
from app.packing.weighing.actions import EVERY_BELOW, weigh
from app.packing.weighing.advice import Advice, advise
from app.packing.weighing.figures import grams
from app.packing.weighing.pointing_out import pointed_out
from app.packing.weighing.queries import check_page
from app.packing.weighing.schemas import HEAVIEST_BAG_G, CheckWeighingIn
from app.settings import Settings
from app.shared.answers import Svg
from app.shared.codes import Code, fold
from app.shared.days import today_here
from app.shared.paging import Page
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.standards.average_quantity import MG, Check, limits, plan
from app.web import forms
from app.web.desk import Desk, may
from app.web.forms import Form, Unreadable, read_number
from app.web.offers import Offer
from app.web.packing import packed_on
from app.web.routing import page_router
from app.web.shown import number, spoken, typed_number
from app.web.tasks import Room, Task
from app.web.texts import N_, _, options

router = page_router()

TASKS = (Task("/weigh", N_("Weigh bags"), Room.PACKING, Permission.WEIGH),)
_PACKED: Final = frozenset({UnitKind.PACK})
OFFERS = (Offer("/weigh/{code}", N_("Weigh bags"), Permission.WEIGH, _PACKED, likely=_PACKED),)

Weigher = Annotated[Desk, may(Permission.WEIGH)]

WEIGHTS: Final = "weights_g"
TAKE_OUT: Final = "out."
"""How asking to take a weight out begins; its place in the row follows."""
ADVICE: Final = {
    Advice.GO_ON: N_("Go on."),
    Advice.WARN: N_("Set the filler: the mean is below the label, or a bag is below T1."),
    Advice.STOP: N_("Stop: a bag is below T2. None of that kind may leave."),
}
PLANS: Final = {
    Check.DOUBLE: N_("two samples, nothing opened"),
    Check.SINGLE: N_("one larger sample, nothing opened"),
    Check.DESTRUCTIVE: N_("twenty bags, opened"),
    Check.EVERY: N_("every bag"),
    Check.US: N_("as in the United States"),
}
FINDINGS: Final = {
    "accepted": N_("accepted"),
    "rejected": N_("not accepted"),
    "second_sample": N_("a second sample is wanted"),
}


class Weighed(NamedTuple):
    """Bags of a pack on the scale: what was booked, and what was weighed since."""

    chart: PackChart
    check: Check
    sample: Sequence[int] | None
    """How many bags the plan wants, or with its second sample; None where it has no rule."""
    net_mg: Sequence[int]
    checks: Sequence[Mapping[str, Any]]

    @property
    def advice(self) -> Advice | None:
        return advise(self.check, self.chart.limits, self.net_mg) if self.net_mg else None

    @property
    def mean(self) -> Decimal | None:
        return grams(Fraction(sum(self.net_mg), len(self.net_mg))) if self.net_mg else None

    @property
    def words(self) -> str:
        """Say what the chart shows to whoever cannot see it."""
        return describe_pack(self.chart)[1] if self.chart.weights() else ""

    @property
    def address(self) -> str:
        weights = ".".join(map(str, self.net_mg))
        return f"/weigh/{self.chart.pack}/chart.svg?w={weights}&plan={self.check}"


def _chart(session: Session, code: str, check: Check, net_mg: Sequence[int]) -> PackChart:
    """Put what is on the scale now behind what was booked."""
    try:
        chart = pack_chart(session, code)
    except Refused as refused:
        if refused.slug != "not-found":
            raise
        chart = _blank_chart(session, code, check)
    return chart._replace(checks=[*chart.checks, net_mg]) if net_mg else chart


def _blank_chart(session: Session, code: str, check: Check) -> PackChart:
    unit = live(unit_by_code(session, code, UnitKind.PACK))
    pack = session.get_one(Pack, unit.id)
    product = session.get_one(Product, pack.product_id)
    try:
        held_against = limits(pack.nominal_g, check)
    except ValueError as none:
        said = f"The rules have no limits for bags of {pack.nominal_g} g: {none}."
        raise Refused("not-found", said) from none
    return PackChart(unit.code, product.sku, product.name, held_against, check is Check.US, [])


def _weighed(
    session: Session, code: str, settings: Settings, asked: Mapping[str, str], net_mg: Sequence[int]
) -> Weighed:
    unit = unit_by_code(session, code, UnitKind.PACK)
    pack = session.get_one(Pack, unit.id)
    said = asked.get("batch_bags", "")
    batch = int(said) if said.isdecimal() and len(said) < 8 else pack.bags  # noqa: PLR2004 - a million bags at the most
    usual = Check.EVERY if batch < EVERY_BELOW else settings.check_plan
    check = Check(asked["plan"]) if asked.get("plan") in {*Check} else usual
    try:
        sample = [step.weighed for step in plan(check, batch).steps]
    except ValueError:
        sample = None
    checks, _more = check_page(session, Page(100, 0), unit.code)
    return Weighed(_chart(session, code, check, net_mg), check, sample, net_mg, checks)


@router.get("/weigh")
def show_packs(desk: Weigher, pack: Annotated[Code | None, Query()] = None) -> Response:
    """Ask of which pack bags are weighed."""
    if pack is not None:
        return RedirectResponse(f"/weigh/{pack}", 303)
    return desk.show("weigh_which.html", packs=desk.read(packed_on, today_here()))


@router.get("/weigh/{code}")
def show_scale(desk: Weigher, code: str) -> Response:
    """Show limits and weights of a pack, and ask for the next bag."""
    return _page(desk, str(fold(code)), desk.blank(CheckWeighingIn))


@router.post("/weigh/{code}")
def weigh_bags(desk: Weigher, code: Code) -> Response:
    """Take one more weight, take one out, or book the check."""
    asked = forms.asks(desk.typed)
    if asked.startswith(TAKE_OUT):
        desk.typed = _without(desk.typed, asked.removeprefix(TAKE_OUT))
    form = desk.sent(CheckWeighingIn)
    if form.unfinished:
        return _page(desk, code, form)
    if checked := desk.book(form, weigh, code):
        mind = checked["finding"] != "accepted" or bool(checked["warnings"])
        return desk.onward(f"/weigh/{checked['pack']}", _told(checked), mind=mind)
    return _page(desk, code, form)


def _without(typed: Mapping[str, Sequence[str]], row: str) -> dict[str, Sequence[str]]:
    weights = [each for each in typed.get(WEIGHTS, ()) if each.strip()]
    kept = [each for place, each in enumerate(weights) if str(place) != row]
    return {**typed, WEIGHTS: kept, forms.ASK_FIELD: [f"more.{WEIGHTS}"]}


def _page(desk: Desk, code: str, form: Form[CheckWeighingIn]) -> Response:
    tare = _milligrams(form.value("tare_g")) or 0
    read = [(each, _milligrams(each)) for each in form.values(WEIGHTS) if each.strip()]
    wrong = [each for each, weight in read if weight is None]
    net_mg = [weight - tare for _each, weight in read if weight is not None and weight > tare]
    if wrong and form.unfinished:
        form.errors[WEIGHTS] = _("%(said)s is no weight in grams.") % {"said": ", ".join(wrong)}
    asked = {name: form.value(name).strip() for name in ("plan", "batch_bags")}
    return desk.show(
        "weigh.html",
        form,
        weighed=desk.read(_weighed, code, desk.settings, asked, net_mg),
        weights=[typed_number(grams(weight)) for _each, weight in read if weight is not None],
        again=wrong[0] if wrong else "",
        advice=ADVICE,
        findings=FINDINGS,
        grams=grams,
        pointed_out=partial(pointed_out, speech=spoken()),
        plans=options(PLANS),
    )


def _milligrams(said: str) -> int | None:
    """Read a weight in grams; None for what is none."""
    try:
        weight = read_number(said.strip()) * MG
    except Unreadable:
        return None
    return int(weight) if 0 < weight <= HEAVIEST_BAG_G * MG and weight == int(weight) else None


def _told(checked: Mapping[str, Any]) -> str:
    finding, advised = FINDINGS[checked["finding"]], ADVICE[checked["advice"]]
    told = _("Check of %(number)s bags booked: %(finding)s, mean %(mean)s g.") % {
        "number": len(checked["weights_g"]),
        "finding": _(finding),
        "mean": number(checked["mean"]["mean_g"]),
    }
    held = _("The pack is on hold now.") if checked["hold"] else ""
    return " ".join([told, _(advised), *pointed_out(checked, spoken()), held]).strip()


@router.get("/weigh/{code}/chart.svg")
def draw_chart(
    desk: Weigher,
    code: Code,
    w: Annotated[str, Query(max_length=20_000, pattern=r"^(\d{1,9}(\.\d{1,9})*)?$")] = "",
    plan_named: Annotated[Check, Query(alias="plan")] = Check.DOUBLE,
) -> Response:
    """Draw what was booked of a pack and what is on the scale now."""
    net_mg = [int(each) for each in w.split(".") if each]
    chart = desk.read(_chart, code, plan_named, net_mg)
    if not chart.weights():
        raise Refused("not-found", f"No bag of {chart.pack} was weighed: there is nothing to draw.")
    from app.packing.charts.drawing import draw_pack  # noqa: PLC0415 - takes seconds to load

    return Svg(draw_pack(chart, spoken()))
