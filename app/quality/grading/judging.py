"""Judging what a grader wrote: full defects, verdicts, and what does not fit together."""

from decimal import Decimal
from typing import NamedTuple

from app.quality.grading.schemas import (
    GradingIn,
    Judged,
    SeenReading,
    StandardCheck,
    StandardVerdict,
)
from app.settings import Settings
from app.shared.problems import FieldRefused
from app.standards import defects, screens
from app.standards.defects import FullDefects, Rounding
from app.standards.grading import Found, Standard, Verdict, judge, standards


class Readings(NamedTuple):
    """The newest readings of a lot; None where there is none."""

    moisture: SeenReading | None
    water_activity: SeenReading | None


def full_defects(asked: GradingIn) -> FullDefects | None:
    """Count faulty beans, or take over what was counted elsewhere."""
    if asked.defects is not None:
        return defects.count(asked.defects)
    if asked.full_defects is not None:
        counted = asked.full_defects
        return defects.counted_elsewhere(counted.category_1, counted.category_2, counted.table)
    return None


def judge_all(asked: GradingIn, readings: Readings, settings: Settings) -> Judged:
    """Judge by the standard that was named, or by every one that is known."""
    known = standards(settings.older_class_limits)
    chosen = [each for each in known if asked.standard in {None, each.code}]
    counted = full_defects(asked)
    return Judged(
        rounding=settings.defect_rounding,
        moisture=readings.moisture,
        water_activity=readings.water_activity,
        verdicts=[
            _verdict(each, _found(each, asked, counted, readings), settings.defect_rounding)
            for each in chosen
        ],
    )


def _found(
    standard: Standard, asked: GradingIn, counted: FullDefects | None, readings: Readings
) -> Found:
    moisture, water_activity = readings
    # Who names a standard says with it what species the coffee is.
    species = asked.species or (standard.species if asked.standard else None)
    return Found(
        sample_g=asked.sample_g,
        defects=counted,
        quakers=asked.quakers,
        quaker_sample_g=asked.quaker_sample_g,
        moisture_pct=moisture.value if moisture else None,
        water_activity=water_activity.value if water_activity else None,
        species=species,
    )


def _verdict(standard: Standard, found: Found, rounding: Rounding) -> StandardVerdict:
    by_rounding = {each: judge(standard, found, each) for each in Rounding}
    said: Verdict = by_rounding[rounding]
    return StandardVerdict(
        standard=standard.code,
        title=standard.title,
        source=standard.source,
        sample_g=standard.sample_g,
        outcome=said.outcome,
        grade=said.grade,
        by_rounding={each: v.grade or v.outcome for each, v in by_rounding.items()},
        checks=[
            StandardCheck(check=name, outcome=outcome, detail=detail)
            for name, outcome, detail in said.checks
        ],
    )


def retained(asked: GradingIn) -> dict[Decimal | None, Decimal]:
    """Read the screens of a grading; the pan stands under None."""
    return {
        None if name == "pan" else Decimal(name): pct for name, pct in (asked.screens or {}).items()
    }


def refuse_contradictions(asked: GradingIn, settings: Settings) -> None:
    """Refuse a grading whose parts do not fit each other, naming the field."""
    if asked.defects is not None and asked.full_defects is not None:
        raise FieldRefused(
            "#/full_defects", "defects are given as beans or as full defects, not both"
        )
    seen = (asked.defects, asked.full_defects, asked.quakers, asked.screens, asked.colour)
    if all(each is None for each in (*seen, asked.odour)):
        raise FieldRefused("#", "nothing was graded: give defects, screens or the like")
    if asked.quaker_sample_g is not None and asked.quakers is None:
        raise FieldRefused("#/quakers", "a roasted sample was weighed and no quakers were counted")
    _refuse_screens(asked, settings)


def _refuse_screens(asked: GradingIn, settings: Settings) -> None:
    if asked.screens is None:
        return
    there = retained(asked)
    if asked.screen_series is screens.Series.INCH_64:
        broken = [each for each in there if each is not None and each != int(each)]
        if broken:
            raise FieldRefused("#/screens", f"screen {broken[0]}: a 64th of an inch is whole")
    off = screens.off_by(there)
    tolerance = settings.screen_tolerance_pct
    if abs(off) > tolerance:
        raise FieldRefused(
            "#/screens",
            f"the screens add up to {screens.WHOLE + off} %; wanted was 100 ± {tolerance} %",
        )
