"""Green lots graded and cupped: what a sample holds, what standards say, how it tastes."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Unit, UnitKind
from app.quality.grading.cuppings import cup
from app.quality.grading.gradings import grade
from app.quality.grading.queries import cupping_page, grading_page, sample_page
from app.quality.grading.queries import grade as grade_of
from app.quality.grading.schemas import GradeOut, GradingIn, LotCuppingIn
from app.quality.grading.tables import SampleKind
from app.settings import Settings
from app.shared.codes import Code
from app.shared.paging import Page
from app.shared.staff import Permission
from app.standards.cupping_forms import CLASSIC, OffTaste
from app.standards.defects import CATEGORY_1, CATEGORY_2, DefectKind
from app.standards.grading import Outcome, Species, StandardCode
from app.web import forms, sampling
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form, Typed
from app.web.offers import Offer, standing
from app.web.routing import page_router
from app.web.shown import number
from app.web.sieves import SIEVES, sieved
from app.web.texts import N_, _, options

router = page_router()

OFFERS = (
    Offer(
        "/grades/{code}", N_("Grade and cup"), Permission.GRADE, frozenset({UnitKind.LOT}),
        standing,
    ),
)  # fmt: skip

Grader = Annotated[Desk, may(Permission.GRADE)]

DEFECTS: Final = {
    DefectKind.FULL_BLACK: N_("Full black"), DefectKind.FULL_SOUR: N_("Full sour"),
    DefectKind.DRIED_CHERRY: N_("Dried cherry, pod"), DefectKind.FUNGUS: N_("Fungus damage"),
    DefectKind.FOREIGN_MATTER: N_("Foreign matter"),
    DefectKind.SEVERE_INSECT: N_("Severe insect damage"),
    DefectKind.PARTIAL_BLACK: N_("Partial black"), DefectKind.PARTIAL_SOUR: N_("Partial sour"),
    DefectKind.PARCHMENT: N_("Parchment"), DefectKind.FLOATER: N_("Floater"),
    DefectKind.IMMATURE: N_("Immature"), DefectKind.WITHERED: N_("Withered"),
    DefectKind.SHELL: N_("Shell"), DefectKind.BROKEN: N_("Broken, chipped, cut"),
    DefectKind.HULL: N_("Hull, husk"), DefectKind.SLIGHT_INSECT: N_("Slight insect damage"),
}  # fmt: skip
OUTCOMES: Final = {
    Outcome.MEETS: N_("met"), Outcome.MISSES: N_("missed"), Outcome.UNKNOWN: N_("not known"),
    Outcome.NOT_JUDGED: N_("does not speak of it"), Outcome.CLASSED: N_("classed"),
}  # fmt: skip
SPECIES: Final = {Species.ARABICA: N_("arabica"), Species.ROBUSTA: N_("robusta")}
STANDARDS: Final = {
    StandardCode.SCA_WASHED_ARABICA: N_("SCA specialty, washed arabica, 350 g"),
    StandardCode.ICO_420_ARABICA: N_("ICO target, arabica, 300 g"),
    StandardCode.ICO_420_ROBUSTA: N_("ICO target, robusta, 300 g"),
    StandardCode.OLDER_CLASSES_300G: N_("older classes, 300 g"),
}  # fmt: skip
SECTIONS: Final = {
    "fragrance_aroma": N_("Fragrance, aroma"), "flavour": N_("Flavour"),
    "aftertaste": N_("Aftertaste"), "acidity": N_("Acidity"), "body": N_("Body"),
    "balance": N_("Balance"), "overall": N_("Overall"),
}  # fmt: skip
MARKS: Final = {
    "uniformity": N_("like the others"), "clean_cup": N_("clean"), "sweetness": N_("sweet"),
}  # fmt: skip
OFF_TASTES: Final = {OffTaste.TAINT: N_("taint"), OffTaste.FAULT: N_("fault")}
_SCREENS: Final = (20, 19, 18, 17, 16, 15, 14, 13, 12, 10)
_USUAL_G: Final = 350
_MOST: Final = 50


class Judged(NamedTuple):
    """What is known of a lot now, and what was said of it last, the newest first."""

    grade: GradeOut
    held: bool
    gradings: Sequence[Mapping[str, Any]]
    cuppings: Sequence[Mapping[str, Any]]


def _judged(session: Session, code: str, settings: Settings) -> Judged:
    gradings, _more_gradings = grading_page(session, Page(_MOST, 0, latest=True), code)
    cuppings, _more_cuppings = cupping_page(session, Page(_MOST, 0, latest=True), code)
    held = session.scalar(select(on_hold(col(Unit.id))).where(col(Unit.code) == code))
    return Judged(grade_of(session, code, settings), bool(held), gradings, cuppings)


@router.get("/grades/{code}")
def show_grades(desk: Visiting, code: Code) -> Response:
    """Show how a lot was graded and cupped, judged by what is known of it now."""
    judged = desk.read(_judged, code, desk.settings)
    return desk.show(
        "grades.html", judged=judged, lot=judged.grade.lot, outcomes=OUTCOMES, most=_MOST
    )


Samples = Sequence[tuple[str, str]]
"""The samples of a lot, as choices, the newest first."""


def _samples(session: Session, code: str) -> Samples:
    found, _following = sample_page(session, Page(_MOST, 0, latest=True), code, None)
    return [
        (str(each["id"]), f"{each['id']}: {_(sampling.KINDS[SampleKind(str(each['kind']))])}")
        for each in found
        if not each["voided"]
    ]


def _newest(samples: Samples) -> str | None:
    """Name the sample that was drawn last: what is looked at most often."""
    return samples[0][0] if samples else None


@router.get("/grades/{code}/grade")
def show_grading(desk: Grader, code: Code) -> Response:
    """Ask what was found in a sample."""
    samples = desk.read(_samples, code)
    form = desk.blank(GradingIn, sample_g=_USUAL_G, sample=_newest(samples))
    return _grading_page(desk, code, form, samples)


@router.post("/grades/{code}/grade")
def book_grading(desk: Grader, code: Code) -> Response:
    """Book the grading, or say what it would come to."""
    form = _sent(desk)
    if desk.only_looks:
        return _grading_page(desk, code, form, seen=desk.look(form, grade, code))
    if made := desk.book(form, grade, code):
        told = _("Grading %(number)s is booked.") % {"number": made["id"]}
        return desk.onward(f"/grades/{made['lot']}", told)
    return _grading_page(desk, code, form)


def _sent(desk: Desk) -> Form[GradingIn]:
    """Read the grading; what is refused of a sieve stands at its row."""
    found = sieved(desk.typed)
    form = forms.sent(GradingIn, found.typed)
    form.typed = desk.typed
    if not form.unfinished:
        said = {found.rows.get(name, name): words for name, words in form.errors.items()}
        form.errors = {**said, **found.errors}
    if form.errors:
        form.asked = None
    return form


def _grading_page(
    desk: Desk,
    code: str,
    form: Form[GradingIn],
    samples: Samples | None = None,
    seen: Mapping[str, Any] | None = None,
) -> Response:
    screens = ("screens.", f"{SIEVES}.")
    screened = form.asks == f"more.{SIEVES}" or any(
        name.startswith(screens) and form.value(name) for name in form.typed
    )
    return desk.show(
        "grading.html", form, code=code, screened=screened, seen=seen,
        samples=desk.read(_samples, code) if samples is None else samples,
        categories=(CATEGORY_1, CATEGORY_2), defects=DEFECTS, outcomes=OUTCOMES, sizes=_SCREENS,
        sieves=SIEVES,
        species=options(SPECIES), standards=options(STANDARDS),
    )  # fmt: skip


Other = Annotated[bool, Query()]
_OTHER: Final = "_other"
"""The field of the page that takes the score of any form, whatever form is named on it."""


@router.get("/grades/{code}/cup")
def show_cupping(desk: Grader, code: Code, other: Other = False) -> Response:
    """Ask how a lot tastes, on the form whose arithmetic is known or by a score alone."""
    samples = desk.read(_samples, code)
    form = desk.blank(LotCuppingIn, sample=_newest(samples), **{_OTHER: "true" if other else None})
    if not _on_another(form.typed) and not form.value("form"):  # nothing of it was brought along
        filled = {"form": CLASSIC.name, "form_version": CLASSIC.version}
        filled |= dict.fromkeys(_marks(), "true")
        form.typed = {**{name: [said] for name, said in filled.items()}, **form.typed}
    return _cupping_page(desk, code, form, samples)


def _marks() -> list[str]:
    return [f"cups.{cup}.{mark}" for cup in range(CLASSIC.cups) for mark in CLASSIC.cup_sections]


@router.post("/grades/{code}/cup")
def book_cupping(desk: Grader, code: Code) -> Response:
    """Book the cupping, its score added up from the form."""
    form = forms.sent(LotCuppingIn, _with_marks(desk.typed))
    if made := desk.book(form, cup, code):
        told = _("Cupping %(number)s is booked: %(score)s on %(form)s %(version)s.") % {
            "number": made["id"], "score": number(made["score"]), "form": made["form"],
            "version": made["form_version"],
        }  # fmt: skip
        return desk.onward(f"/grades/{made['lot']}", told)
    return _cupping_page(desk, code, form)


def _with_marks(typed: Typed) -> Typed:
    """Say of a mark that was not ticked that the cup lacks it."""
    if _on_another(typed):
        return typed
    return {**{name: ["false"] for name in _marks()}, **typed}


def _on_another(typed: Typed) -> bool:
    """Tell whether the page asks for a score, of whatever form, and not for the sheet of one."""
    return _OTHER in typed or "score" in typed


def _cupping_page(
    desk: Desk, code: str, form: Form[LotCuppingIn], samples: Samples | None = None
) -> Response:
    classic = form.value("form") == CLASSIC.name and not _on_another(form.typed)
    return desk.show(
        "lot_cupping.html", form, code=code, classic=CLASSIC if classic else None,
        sections=SECTIONS, marks=MARKS, off_tastes=options(OFF_TASTES),
        samples=desk.read(_samples, code) if samples is None else samples,
    )  # fmt: skip
