"""What the API reads and answers about samples, gradings and cuppings of green lots."""

import re
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, Field, StrictBool, StringConstraints

from app.green.readings.values import Moisture, Value, number
from app.ledger.schemas import Asked, Name, Note, Told, Why
from app.quality.grading.tables import SampleKind
from app.shared.codes import Code
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut
from app.standards.cupping_forms import OffTaste
from app.standards.defects import DefectKind, Rounding
from app.standards.grading import Outcome, Species, StandardCode
from app.standards.screens import Series

Count = Annotated[int, Field(ge=0, le=100_000, strict=True)]
SampleGrams = Annotated[int, Field(ge=1, le=30_000, strict=True)]
Number = Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)]
Words = Annotated[str, Field(max_length=200)]
Written = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""A name in what is read again as it was sent: it takes whatever it once took."""


class SampleDrawIn(Asked):
    sack: Code
    grams: KgIn = Field(alias="kg")


class SampleIn(Asked):
    subject: Code | None = None
    typical_of: Name | None = None
    kind: SampleKind
    drawn: Annotated[list[SampleDrawIn], Field(min_length=1, max_length=2000)] | None = Field(
        default=None, alias="from"
    )
    grams: KgIn | None = Field(default=None, alias="kg")
    increments: Annotated[int, Field(ge=1, le=100_000, strict=True)] | None = None
    drawn_with: Words | None = None
    purpose: Note | None = None
    taken_at: MomentIn | None = None


class SampleDraw(Told):
    sack: str
    grams: KgOut = Field(alias="kg")


class SampledAgainstPlan(Told):
    """What the plan asked for when the sample was drawn, and what was done."""

    sacks: int
    """Sacks of the lot with coffee in them."""
    sacks_to_sample: int
    sacks_sampled: int
    enough: bool
    why: str


class SampleOut(Told):
    id: int
    subject: str | None
    lot: str | None
    typical_of: str | None
    kind: SampleKind
    grams: KgOut | None = Field(alias="kg")
    from_stock: bool
    drawn: list[SampleDraw] = Field(alias="from")
    increments: int | None
    drawn_with: str | None
    purpose: str | None
    plan: SampledAgainstPlan | None
    taken_at: MomentOut
    taken_by: str
    entry: int
    voided: bool


class SamplePlanOut(Told):
    lot: str
    sacks: int
    """Sacks with coffee in them."""
    sacks_to_sample: int
    each_g: int
    bulk_g: int
    sacks_sampled: int
    """Sacks that arrival samples were drawn from so far."""
    enough: bool
    why: str


class VoidedRecord(Told):
    id: int
    lot: str | None
    given_back: dict[str, KgOut] = Field(alias="given_back_kg")
    reason: str
    entry: int
    voided_at: MomentOut


class FullDefectsIn(Asked):
    """Full defects as somebody else counted them, and whose equivalents they used."""

    category_1: Count
    category_2: Count
    table: Written


_SCREEN = re.compile(r"pan|[1-9][0-9]?(\.[0-9]{1,2})?")


def _screens(retained: dict[str, Decimal]) -> dict[str, Decimal]:
    for name in retained:
        if not _SCREEN.fullmatch(name):
            raise ValueError(f"{name} is no screen: 18, or 7.10 in millimetres, or pan")
    sizes = [Decimal(name) for name in retained if name != "pan"]
    if len(set(sizes)) < len(sizes):
        raise ValueError("one screen stands there twice")
    return retained


Screens = Annotated[
    dict[str, Moisture], Field(min_length=1, max_length=40), AfterValidator(_screens)
]


class GradingIn(Asked):
    sample: Number | None = None
    sample_g: SampleGrams
    species: Species | None = None
    standard: StandardCode | None = None
    defects: dict[DefectKind, Count] | None = None
    full_defects: FullDefectsIn | None = None
    quakers: Count | None = None
    quaker_sample_g: SampleGrams | None = None
    screens: Screens | None = None
    screen_series: Series = Series.INCH_64
    colour: Words | None = None
    odour: Words | None = None
    grader: Written | None = None
    notes: Note | None = None
    graded_at: MomentIn | None = None


class TallyOut(Told):
    """Full defects by both roundings; `fraction` is the exact one without any rounding."""

    floor: int
    exact: NumberOut
    fraction: str


class DefectLineOut(Told):
    kind: DefectKind
    category: int
    beans: int
    equivalent: int
    full_defects: TallyOut


class FullDefectsOut(Told):
    category_1: TallyOut
    category_2: TallyOut
    total: TallyOut
    table: str


class ScreenLineOut(Told):
    label: str
    hole_mm: NumberOut | None
    retained_pct: NumberOut
    up_label: str | None
    up_pct: NumberOut | None


class SeenReading(Told):
    """The newest reading of the lot or any of its sacks."""

    value: NumberOut
    subject: str
    taken_at: MomentOut


class StandardCheck(Told):
    check: str
    outcome: Outcome
    detail: str


class StandardVerdict(Told):
    standard: StandardCode
    title: str
    source: str
    sample_g: int
    outcome: Outcome
    grade: str | None
    by_rounding: dict[Rounding, str]
    """What either rounding says: the class, or the outcome."""
    checks: list[StandardCheck]


class Judged(Told):
    """What was said of a count, and with which readings."""

    rounding: Rounding
    moisture: SeenReading | None
    water_activity: SeenReading | None
    verdicts: list[StandardVerdict]


class GradingOut(Told):
    id: int
    lot: str
    sample: int | None
    sample_g: int
    species: Species | None
    defects: list[DefectLineOut] | None
    full_defects: FullDefectsOut | None
    quakers: int | None
    quaker_sample_g: int | None
    screen_series: Series
    screens: list[ScreenLineOut] | None
    colour: str | None
    odour: str | None
    notes: str | None
    rounding: Rounding
    moisture: SeenReading | None
    water_activity: SeenReading | None
    verdicts: list[StandardVerdict]
    grader: str
    graded_at: MomentOut
    entered_by: str
    entry: int
    voided: bool


Points = Annotated[Value, Field(ge=0, le=100, decimal_places=2), number(minimum=0, maximum=100)]


class CupIn(Asked):
    """One cup of the table: what it has, and what is wrong with it."""

    uniformity: StrictBool
    clean_cup: StrictBool
    sweetness: StrictBool
    off_taste: OffTaste | None = None


class LotCuppingIn(Asked):
    sample: Number | None = None
    form: Name
    form_version: Annotated[str, Field(min_length=1, max_length=100)]
    sections: Annotated[dict[str, Points], Field(max_length=40)] | None = None
    cups: Annotated[list[CupIn], Field(max_length=40)] | None = None
    score: Points | None = None
    tasters: Annotated[int, Field(ge=1, le=100, strict=True)] = 1
    taster: Name | None = None
    notes: Note | None = None
    cupped_at: MomentIn | None = None


class CupOut(Told):
    uniformity: bool
    clean_cup: bool
    sweetness: bool
    off_taste: OffTaste | None


class PointsOut(Told):
    """How a score comes about."""

    sections: NumberOut
    cups: NumberOut
    deduction: NumberOut


class OnForm(Told):
    """What stands on a form."""

    sections: dict[str, NumberOut]
    cups: list[CupOut]
    points: PointsOut


class LotCuppingOut(Told):
    id: int
    lot: str
    sample: int | None
    form: str
    form_version: str
    score: NumberOut
    on_form: OnForm | None
    """`null` where the score was given without its sections."""
    tasters: int
    specialty: bool | None
    """Whether it reaches the line of its form; `null` for a form whose line is not known here."""
    taster: str
    notes: str | None
    cupped_at: MomentOut
    entered_by: str
    entry: int
    voided: bool


class FormScores(Told):
    """The scores of one form; those of different forms are never put together."""

    form: str
    form_version: str
    cuppings: int
    latest: NumberOut
    latest_at: MomentOut
    lowest: NumberOut
    highest: NumberOut


class GradeOut(Told):
    lot: str
    moisture: SeenReading | None
    water_activity: SeenReading | None
    grading: GradingOut | None
    """The latest one, judged by what is known now."""
    cupping: LotCuppingOut | None
    """The latest one."""
    scores: list[FormScores]


class RecordVoidIn(Asked):
    reason: Why
