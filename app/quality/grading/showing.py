"""Showing samples, gradings and cuppings as they are answered."""

from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from app.quality.grading.judging import full_defects, retained
from app.quality.grading.schemas import (
    DefectLineOut,
    FullDefectsOut,
    GradingIn,
    GradingOut,
    Judged,
    LotCuppingOut,
    OnForm,
    SampledAgainstPlan,
    SampleDraw,
    SampleOut,
    ScreenLineOut,
    TallyOut,
)
from app.quality.grading.tables import Grading, LotCupping, Sample
from app.shared.answers import read_json
from app.standards import defects, screens
from app.standards.cupping_forms import known_form, reaches_the_line
from app.standards.defects import FullDefects, Tally

CENTI = Decimal("0.01")


class Booked(NamedTuple):
    """Of which lot, when, by whom, and whether it still stands."""

    lot: str | None
    at: datetime
    who: str
    voided: bool = False


def show_sample(
    sample: Sample, booked: Booked, subject: str | None, drawn: list[SampleDraw]
) -> SampleOut:
    """Show a sample with what it took out of which sack."""
    return SampleOut(
        id=sample.id or 0, subject=subject, lot=booked.lot, typical_of=sample.typical_of,
        kind=sample.kind, grams=sample.grams, from_stock=bool(drawn), drawn=drawn,
        increments=sample.increments, drawn_with=sample.drawn_with, purpose=sample.purpose,
        plan=_against_plan(sample, len(drawn)), taken_at=booked.at, taken_by=booked.who,
        entry=sample.entry_id, voided=booked.voided,
    )  # fmt: skip


def _against_plan(sample: Sample, sampled: int) -> SampledAgainstPlan | None:
    """Hold what was sampled against what the plan asked for at that time."""
    if sample.lot_sacks is None or sample.sacks_to_sample is None:
        return None
    return SampledAgainstPlan(
        sacks=sample.lot_sacks,
        sacks_to_sample=sample.sacks_to_sample,
        sacks_sampled=sampled,
        enough=sampled >= sample.sacks_to_sample,
        why=sample.plan_why or "",
    )


def show_grading(grading: Grading, booked: Booked, asked: GradingIn, judged: Judged) -> GradingOut:
    """Show a grading: what was found, what it comes to, and what was said of it."""
    counted = full_defects(asked)
    return GradingOut(
        id=grading.id or 0, lot=booked.lot or "", sample=grading.sample_id,
        sample_g=asked.sample_g, species=asked.species, defects=_defects(counted),
        full_defects=_full_defects(counted), quakers=asked.quakers,
        quaker_sample_g=asked.quaker_sample_g, screen_series=asked.screen_series,
        screens=_screens(asked), colour=asked.colour, odour=asked.odour, notes=asked.notes,
        grader=asked.grader or booked.who, graded_at=booked.at, entered_by=booked.who,
        entry=grading.entry_id, voided=booked.voided, rounding=judged.rounding,
        moisture=judged.moisture, water_activity=judged.water_activity,
        verdicts=judged.verdicts,
    )  # fmt: skip


def _tally(tally: Tally) -> TallyOut:
    return TallyOut(floor=tally.floor, exact=defects.figure(tally.exact), fraction=str(tally.exact))


def _full_defects(counted: FullDefects | None) -> FullDefectsOut | None:
    if counted is None:
        return None
    return FullDefectsOut(
        category_1=_tally(counted.category_1),
        category_2=_tally(counted.category_2),
        total=_tally(counted.total),
        table=counted.table,
    )


def _defects(counted: FullDefects | None) -> list[DefectLineOut] | None:
    """Show a count kind by kind; None where only its sums are known."""
    if counted is None or counted.lines is None:
        return None
    return [
        DefectLineOut(
            kind=line.kind,
            category=line.category,
            beans=line.beans,
            equivalent=line.equivalent,
            full_defects=_tally(line.full),
        )
        for line in counted.lines
    ]


def _screens(asked: GradingIn) -> list[ScreenLineOut] | None:
    """Show a screen analysis with the labels that follow from it."""
    if asked.screens is None:
        return None
    return [
        ScreenLineOut(
            label=line.label,
            hole_mm=line.hole_mm,
            retained_pct=line.retained_pct,
            up_label=line.up_label,
            up_pct=line.up_pct,
        )
        for line in screens.lines(retained(asked), asked.screen_series)
    ]


def show_cupping(cupping: LotCupping, booked: Booked) -> LotCuppingOut:
    """Show a cupping of a lot."""
    score = cupping.score_centi * CENTI
    form = known_form(cupping.form, cupping.form_version)
    on_form = cupping.on_form
    return LotCuppingOut(
        id=cupping.id or 0, lot=booked.lot or "", sample=cupping.sample_id, form=cupping.form,
        form_version=cupping.form_version, score=score, tasters=cupping.tasters,
        on_form=OnForm.model_validate(read_json(on_form)) if on_form else None,
        specialty=reaches_the_line(score) if form else None, taster=cupping.taster,
        notes=cupping.notes, cupped_at=booked.at, entered_by=booked.who,
        entry=cupping.entry_id, voided=booked.voided,
    )  # fmt: skip
