"""Reading samples, gradings and cuppings of green lots, and the grade that stands."""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.instruments.rules import DOUBTFUL
from app.green.readings.tables import Reading, ReadingKind, ReadingVoid
from app.green.tables import Sack
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.quality.grading.judging import Readings, judge_all
from app.quality.grading.samples import plan_of, sampling_rule
from app.quality.grading.schemas import (
    FormScores,
    GradeOut,
    GradingIn,
    GradingOut,
    Judged,
    LotCuppingOut,
    SampleDraw,
    SamplePlanOut,
    SeenReading,
)
from app.quality.grading.showing import Booked, show_cupping, show_grading, show_sample
from app.quality.grading.tables import (
    Grading,
    GradingVoid,
    LotCupping,
    Sample,
    SampleKind,
    SamplePart,
)
from app.settings import Settings
from app.shared.answers import read_json
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.standards.cupping_forms import same_form


def newest_readings(session: Session, lot_id: int) -> Readings:
    """Find the newest readings of a lot or of any of its sacks.

    What an instrument read that was overdue for calibration or had failed is no reading here.
    """
    sacks = select(col(Sack.unit_id)).where(col(Sack.lot_id) == lot_id)
    newest = (
        select(
            col(Reading.kind),
            col(Reading.value_milli),
            col(Reading.calibration),
            col(Unit.code),
            col(Entry.happened_at),
            func.row_number()
            .over(
                partition_by=col(Reading.kind),
                order_by=(col(Entry.happened_at).desc(), col(Reading.id).desc()),
            )
            .label("place"),
        )
        .join(Entry, col(Entry.id) == col(Reading.entry_id))
        .join(Unit, col(Unit.id) == col(Reading.unit_id))
        .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
        .where(col(ReadingVoid.entry_id).is_(None))
        .where(or_(col(Reading.unit_id) == lot_id, col(Reading.unit_id).in_(sacks)))
        .where(col(Reading.kind).in_([ReadingKind.MOISTURE, ReadingKind.WATER_ACTIVITY]))
        .subquery()
    )
    found = {
        row.kind: SeenReading(
            value=kg_from_grams(row.value_milli), subject=row.code, taken_at=row.happened_at
        )
        for row in session.execute(select(newest).where(newest.c.place == 1))
        if row.calibration not in DOUBTFUL
    }
    return Readings(found.get(ReadingKind.MOISTURE), found.get(ReadingKind.WATER_ACTIVITY))


def _gradings(lot_id: int) -> AnySelect:
    return (
        select(
            col(Grading.id),
            Grading,
            col(Entry.happened_at),
            col(Entry.who),
            col(GradingVoid.entry_id).label("voided"),
        )
        .join(Entry, col(Entry.id) == col(Grading.entry_id))
        .outerjoin(GradingVoid, col(GradingVoid.grading_id) == col(Grading.id))
        .where(col(Grading.lot_id) == lot_id)
    )


def _grading_of(row: Any, lot: str, judged: Judged | None = None) -> GradingOut:  # noqa: ANN401 - a row of `_gradings`
    grading: Grading = row.Grading
    then = judged or Judged.model_validate(read_json(grading.judged))
    return show_grading(grading, _booked(row, lot), _asked_of(grading), then)


def _booked(row: Any, lot: str | None) -> Booked:  # noqa: ANN401 - a row with its entry and its void
    return Booked(lot, row.happened_at, row.who, voided=row.voided is not None)


def _asked_of(grading: Grading) -> GradingIn:
    return GradingIn.model_validate(read_json(grading.found))


def grading_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the gradings of a lot as they were judged then, in the order they were booked."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    rows, following = turn_page(session, _gradings(lot.id), col(Grading.id), page)
    return [_grading_of(row, lot.code).model_dump() for row in rows], following


def _cuppings(lot_id: int) -> AnySelect:
    return (
        select(
            col(LotCupping.id),
            LotCupping,
            col(Entry.happened_at),
            col(Entry.who),
            col(GradingVoid.entry_id).label("voided"),
        )
        .join(Entry, col(Entry.id) == col(LotCupping.entry_id))
        .outerjoin(GradingVoid, col(GradingVoid.lot_cupping_id) == col(LotCupping.id))
        .where(col(LotCupping.lot_id) == lot_id)
    )


def _cupping_of(row: Any, lot: str) -> LotCuppingOut:  # noqa: ANN401 - a row of `_cuppings`
    return show_cupping(row.LotCupping, _booked(row, lot))


def cupping_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the cuppings of a lot in the order they were booked."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    rows, following = turn_page(session, _cuppings(lot.id), col(LotCupping.id), page)
    return [_cupping_of(row, lot.code).model_dump() for row in rows], following


def grade(session: Session, code: str, settings: Settings) -> GradeOut:
    """Read the grade of a lot: its latest grading by what is known now, and its scores."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    readings = newest_readings(session, lot.id)
    latest = session.execute(
        _gradings(lot.id)
        .where(col(GradingVoid.entry_id).is_(None))
        .order_by(col(Entry.happened_at).desc(), col(Grading.id).desc())
        .limit(1)
    ).first()
    cuppings = [
        _cupping_of(row, lot.code)
        for row in session.execute(
            _cuppings(lot.id)
            .where(col(GradingVoid.entry_id).is_(None))
            .order_by(col(Entry.happened_at).desc(), col(LotCupping.id).desc())
        )
    ]
    judged = judge_all(_asked_of(latest.Grading), readings, settings) if latest else None
    return GradeOut(
        lot=lot.code,
        moisture=readings.moisture,
        water_activity=readings.water_activity,
        grading=_grading_of(latest, lot.code, judged) if latest else None,
        cupping=cuppings[0] if cuppings else None,
        scores=_by_form(cuppings),
    )


def _by_form(cuppings: Iterable[LotCuppingOut]) -> list[FormScores]:
    """Gather scores form by form, the newest first; no two forms are put together."""
    piles: list[list[LotCuppingOut]] = []
    for each in cuppings:
        mine = (each.form, each.form_version)
        pile = next((p for p in piles if same_form((p[0].form, p[0].form_version), mine)), None)
        if pile is None:
            piles.append([each])
        else:
            pile.append(each)
    return [_scores(pile) for pile in piles]


def _scores(pile: Sequence[LotCuppingOut]) -> FormScores:
    latest = pile[0]
    return FormScores(
        form=latest.form,
        form_version=latest.form_version,
        cuppings=len(pile),
        latest=latest.score,
        latest_at=latest.cupped_at,
        lowest=min(each.score for each in pile),
        highest=max(each.score for each in pile),
    )


def sample_page(
    session: Session, page: Page, subject: str | None, kind: SampleKind | None
) -> PageOf:
    """Read samples in the order they were booked; those of a lot with those of its sacks."""
    whole, lot = aliased(Unit), aliased(Unit)
    statement: AnySelect = (
        select(
            col(Sample.id),
            Sample,
            col(whole.code).label("subject"),
            col(lot.code).label("lot"),
            col(Entry.happened_at),
            col(Entry.who),
            col(GradingVoid.entry_id).label("voided"),
        )
        .join(Entry, col(Entry.id) == col(Sample.entry_id))
        .outerjoin(whole, col(whole.id) == col(Sample.subject_id))
        .outerjoin(lot, col(lot.id) == col(Sample.lot_id))
        .outerjoin(GradingVoid, col(GradingVoid.sample_id) == col(Sample.id))
    )
    if subject is not None:
        unit = unit_by_code(session, subject, UnitKind.LOT, UnitKind.SACK)
        statement = statement.where(_sampled(unit))
    if kind is not None:
        statement = statement.where(col(Sample.kind) == kind)
    rows, following = turn_page(session, statement, col(Sample.id), page)
    drawn = _draws(session, [row.id for row in rows])
    shown = [
        show_sample(row.Sample, _booked(row, row.lot), row.subject, drawn.get(row.id, []))
        for row in rows
    ]
    return [each.model_dump() for each in shown], following


def _sampled(unit: Unit) -> Any:  # noqa: ANN401 - a condition
    if unit.kind == UnitKind.LOT:
        return col(Sample.lot_id) == unit.id
    parts = select(col(SamplePart.sample_id)).where(col(SamplePart.sack_id) == unit.id)
    return or_(col(Sample.subject_id) == unit.id, col(Sample.id).in_(parts))


def _draws(session: Session, sample_ids: Sequence[int]) -> dict[int, list[SampleDraw]]:
    drawn: dict[int, list[SampleDraw]] = {}
    rows = session.execute(
        select(col(SamplePart.sample_id), col(Unit.code), col(SamplePart.grams))
        .join(Unit, col(Unit.id) == col(SamplePart.sack_id))
        .where(col(SamplePart.sample_id).in_(sample_ids))
        .order_by(col(Unit.id))
    )
    for sample_id, code, grams in rows:
        drawn.setdefault(sample_id, []).append(SampleDraw(sack=code, grams=grams))
    return drawn


def sample_plan(session: Session, code: str, settings: Settings) -> SamplePlanOut:
    """Plan the sample of a lot, and tell how many sacks arrival samples came from so far."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    planned = plan_of(session, lot.id, settings)
    sampled = session.scalar(
        select(func.count(col(SamplePart.sack_id).distinct()))
        .join(Sample, col(Sample.id) == col(SamplePart.sample_id))
        .outerjoin(GradingVoid, col(GradingVoid.sample_id) == col(Sample.id))
        .where(col(Sample.lot_id) == lot.id, col(Sample.kind) == SampleKind.ARRIVAL)
        .where(col(GradingVoid.entry_id).is_(None))
    )
    return SamplePlanOut(
        lot=lot.code,
        sacks=planned.sacks,
        sacks_to_sample=planned.to_sample,
        each_g=planned.each_g,
        bulk_g=sampling_rule(settings).bulk_g,
        sacks_sampled=sampled or 0,
        enough=planned.is_met_by(sampled or 0),
        why=planned.why,
    )
