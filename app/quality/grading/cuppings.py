"""Cupping a green lot."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.quality.grading.samples import sample_of
from app.quality.grading.schemas import (
    CupIn,
    CupOut,
    LotCuppingIn,
    LotCuppingOut,
    OnForm,
    PointsOut,
)
from app.quality.grading.showing import Booked, show_cupping
from app.quality.grading.tables import LotCupping
from app.settings import Settings
from app.shared.answers import to_json
from app.shared.problems import FieldRefused, pointer
from app.standards.cupping_forms import (
    FORMS,
    Cup,
    Form,
    OffTaste,
    add_up,
    flaws,
    known_form,
    on_step,
)


def cup(pen: Pen, code: str, asked: LotCuppingIn) -> LotCuppingOut:
    """Record a tasting of a lot, its score added up from the form or taken as it was given."""
    lot = live(unit_by_code(pen.session, code, UnitKind.LOT))
    sample = sample_of(pen.session, asked.sample, lot)
    form = known_form(asked.form, asked.form_version)
    score, on_form = _scored(asked, form, pen.settings)
    at = pen.moment(asked.cupped_at, "#/cupped_at")
    entry_id = pen.note("lot cupping", {"lot": lot.code, **asked.model_dump(mode="json")}, at)
    cupping = LotCupping(
        lot_id=lot.id, sample_id=sample.id if sample else None, score_centi=int(score * 100),
        form=form.name if form else asked.form, tasters=asked.tasters, notes=asked.notes,
        form_version=form.version if form else asked.form_version,
        on_form=to_json(on_form).decode() if on_form else None,
        taster=asked.taster or pen.who, entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(cupping)
    pen.session.flush()  # the database numbers the cupping
    return show_cupping(cupping, Booked(lot.code, at, pen.who))


def _scored(
    asked: LotCuppingIn, form: Form | None, settings: Settings
) -> tuple[Decimal, OnForm | None]:
    if asked.sections is not None:
        if asked.score is not None:
            raise FieldRefused("#/score", "the score is computed from the sections: leave it out")
        if form is None:
            known = ", ".join(f"{each.name} {each.version}" for each in FORMS)
            raise FieldRefused(
                "#/form",
                f"how {asked.form} {asked.form_version} is added up is not known here: give the "
                f"score instead of its sections ({known} is known)",
            )
        return _from_form(asked, asked.sections, form, settings)
    if asked.cups is not None:
        raise FieldRefused("#/sections", "cups without sections make no score")
    if asked.score is None:
        raise FieldRefused("#/score", "a score is wanted, or the sections it is made of")
    _refuse_off_step(asked.score, asked.tasters)
    return asked.score, None


def _refuse_off_step(score: Decimal, tasters: int) -> None:
    """One taster scores in quarters; the mean of several on one form may fall between."""
    if tasters == 1 and not on_step(score):
        raise FieldRefused(
            "#/score",
            f"{score} is between the steps of 0.25: say in `tasters` of how many it is the mean",
        )


def _from_form(
    asked: LotCuppingIn, sections: Mapping[str, Decimal], form: Form, settings: Settings
) -> tuple[Decimal, OnForm]:
    if asked.tasters > 1:
        raise FieldRefused("#/tasters", "a form is one taster's: enter each form by itself")
    said = asked.cups or []
    cups = [_cup(each) for each in said]
    for flaw in flaws(form, sections, cups):
        raise FieldRefused(pointer(flaw.where), flaw.why)
    points = add_up(form, sections, cups, _deductions(settings))
    return points.score, OnForm(
        sections=dict(sections),
        cups=_shown(said),
        points=PointsOut(sections=points.sections, cups=points.cups, deduction=points.deduction),
    )


def _cup(said: CupIn) -> Cup:
    marks = {
        "uniformity": said.uniformity, "clean_cup": said.clean_cup, "sweetness": said.sweetness,
    }  # fmt: skip
    return Cup(frozenset(name for name, there in marks.items() if there), said.off_taste)


def _shown(cups: Sequence[CupIn]) -> list[CupOut]:
    return [
        CupOut(
            uniformity=each.uniformity,
            clean_cup=each.clean_cup,
            sweetness=each.sweetness,
            off_taste=each.off_taste,
        )
        for each in cups
    ]


def _deductions(settings: Settings) -> dict[OffTaste, int]:
    return {
        OffTaste.TAINT: settings.cup_taint_points,
        OffTaste.FAULT: settings.cup_fault_points,
    }
