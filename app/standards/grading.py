"""Green grading: full defects out of faulty beans, and verdicts by named standards.

A standard judges only what was counted as it asks: in a sample of its own mass, for its own
species. What was not measured is unknown and never counts as met.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from app.standards.defects import FullDefects, Rounding, Tally, figure


class Species(StrEnum):
    ARABICA = "arabica"
    ROBUSTA = "robusta"


class Outcome(StrEnum):
    """What a standard says."""

    MEETS = "meets"
    MISSES = "misses"
    UNKNOWN = "unknown"
    """Something it asks for was not measured, or not as it asks."""
    NOT_JUDGED = "not_judged"
    """The count is not one this standard speaks of."""
    CLASSED = "classed"
    """It says no yes or no but names a class."""


class StandardCode(StrEnum):
    """The name of a standard."""

    SCA_WASHED_ARABICA = "sca_washed_arabica"
    ICO_420_ARABICA = "ico_420_arabica"
    ICO_420_ROBUSTA = "ico_420_robusta"
    OLDER_CLASSES_300G = "older_classes_300g"


@dataclass(frozen=True)
class Found:
    """What is known of a sample of green coffee; None is not measured."""

    sample_g: int
    defects: FullDefects | None = None
    quakers: int | None = None
    quaker_sample_g: int | None = None
    moisture_pct: Decimal | None = None
    water_activity: Decimal | None = None
    species: Species | None = None


class ClassLimit(NamedTuple):
    """A class and the most full defects it allows; None for no limit."""

    name: str
    most: int | None
    category_1_allowed: bool = True


@dataclass(frozen=True)
class Standard:
    """What a named standard asks. None and empty where it asks nothing."""

    code: StandardCode
    title: str
    source: str
    sample_g: int
    species: Species | None = None
    most_category_1: int | None = None
    most_category_2: int | None = None
    most_in_all: int | None = None
    most_quakers: tuple[int, int] | None = None
    """So many, in so many grams of roasted coffee."""
    moisture_pct: tuple[Decimal, Decimal] | None = None
    """Wet basis, ends included."""
    water_activity_below: Decimal | None = None
    classes: tuple[ClassLimit, ...] = ()


class Check(NamedTuple):
    """One thing a standard asks, and what was found."""

    name: str
    outcome: Outcome
    detail: str


class Verdict(NamedTuple):
    """What one standard says of one count."""

    standard: Standard
    outcome: Outcome
    grade: str | None
    checks: tuple[Check, ...]


SCA_WASHED_ARABICA = Standard(
    code=StandardCode.SCA_WASHED_ARABICA,
    title="SCA specialty grade, washed arabica, 350 g",
    source="SCA, Washed arabica green coffee defect poster (2018)",
    sample_g=350,
    species=Species.ARABICA,
    most_category_1=0,
    most_category_2=5,
    most_quakers=(0, 100),
    moisture_pct=(Decimal(10), Decimal(12)),
    water_activity_below=Decimal("0.70"),
)
ICO_ARABICA = Standard(
    code=StandardCode.ICO_420_ARABICA,
    title="ICO quality target, arabica, 300 g",
    source="ICO Resolution 420 (21 May 2004); ITC Coffee Guide, ICO minimum export standards",
    sample_g=300,
    species=Species.ARABICA,
    most_in_all=86,
    moisture_pct=(Decimal(8), Decimal("12.5")),
)
ICO_ROBUSTA = Standard(
    code=StandardCode.ICO_420_ROBUSTA,
    title="ICO quality target, robusta, 300 g",
    source="ICO Resolution 420 (21 May 2004); ITC Coffee Guide, ICO minimum export standards",
    sample_g=300,
    species=Species.ROBUSTA,
    most_in_all=150,
    moisture_pct=(Decimal(8), Decimal("12.5")),
)


def older_classes(limits: tuple[int, int, int, int]) -> Standard:
    """Make the older classes out of the most full defects of the first four of them."""
    specialty, premium, exchange, below = limits
    return Standard(
        code=StandardCode.OLDER_CLASSES_300G,
        title="Older classes, 300 g",
        source="FAO document x6939e, Annex 7; the upper bands from memory, so a setting",
        sample_g=300,
        classes=(
            ClassLimit("specialty", specialty, category_1_allowed=False),
            ClassLimit("premium", premium),
            ClassLimit("exchange", exchange),
            ClassLimit("below standard", below),
            ClassLimit("off grade", None),
        ),
    )


def standards(limits: tuple[int, int, int, int]) -> tuple[Standard, ...]:
    """Name every standard that is known here."""
    return (SCA_WASHED_ARABICA, ICO_ARABICA, ICO_ROBUSTA, older_classes(limits))


def judge(standard: Standard, found: Found, rounding: Rounding) -> Verdict:
    """Judge what was found by one standard."""
    barred = _barred(standard, found)
    if barred is not None:
        return Verdict(standard, Outcome.NOT_JUDGED, None, (barred,))
    if standard.classes:
        return _classed(standard, found, rounding)
    checks = tuple(_checks(standard, found, rounding))
    return Verdict(standard, _together(checks), None, checks)


def _barred(standard: Standard, found: Found) -> Check | None:
    """Say why a standard does not speak of this count: compare only like with like."""
    if standard.species and found.species and standard.species is not found.species:
        detail = f"not judged: the rule is for {standard.species}; this is {found.species}"
        return Check("species", Outcome.NOT_JUDGED, detail)
    if standard.sample_g != found.sample_g:
        detail = (
            f"not judged: sample mass differs; counted in {found.sample_g} g, "
            f"the rule is for {standard.sample_g} g"
        )
        return Check("sample mass", Outcome.NOT_JUDGED, detail)
    return None


def _together(checks: Sequence[Check]) -> Outcome:
    outcomes = {check.outcome for check in checks}
    if Outcome.MISSES in outcomes:
        return Outcome.MISSES
    return Outcome.MEETS if outcomes == {Outcome.MEETS} else Outcome.UNKNOWN


def _checks(standard: Standard, found: Found, rounding: Rounding) -> Iterator[Check]:
    if standard.species and found.species is None:
        detail = f"species not stated; the rule is for {standard.species}"
        yield Check("species", Outcome.UNKNOWN, detail)
    counted = found.defects
    serious, lesser, total = (
        (counted.category_1, counted.category_2, counted.total) if counted else (None, None, None)
    )
    for name, most, tally in (
        ("category 1", standard.most_category_1, serious),
        ("category 2", standard.most_category_2, lesser),
        ("full defects", standard.most_in_all, total),
    ):
        if most is not None:
            yield _check_defects(name, most, tally, rounding)
    if standard.most_quakers is not None:
        yield check_quakers(found.quakers, found.quaker_sample_g, *standard.most_quakers)
    if standard.moisture_pct is not None:
        yield check_moisture(found.moisture_pct, standard.moisture_pct)
    if standard.water_activity_below is not None:
        yield check_water_activity(found.water_activity, standard.water_activity_below)


def _check_defects(name: str, most: int, tally: Tally | None, rounding: Rounding) -> Check:
    if tally is None:
        return Check(name, Outcome.UNKNOWN, "defects were not counted")
    number = tally.by(rounding)
    outcome = Outcome.MEETS if number <= most else Outcome.MISSES
    return Check(name, outcome, f"{figure(number)} full defects; at most {most}")


def check_quakers(quakers: int | None, counted_g: int | None, most: int, asked_g: int) -> Check:
    """Hold quakers against the most allowed in a roasted sample of one mass."""
    if quakers is None:
        return Check("quakers", Outcome.UNKNOWN, "quakers were not counted")
    if counted_g != asked_g:
        counted = "an unknown mass" if counted_g is None else f"{counted_g} g"
        detail = (
            f"not judged: sample mass differs; counted in {counted}, the rule is for {asked_g} g"
        )
        return Check("quakers", Outcome.UNKNOWN, detail)
    outcome = Outcome.MEETS if quakers <= most else Outcome.MISSES
    return Check("quakers", outcome, f"{quakers} quakers in {asked_g} g roasted; at most {most}")


def check_moisture(value: Decimal | None, limits: tuple[Decimal, Decimal]) -> Check:
    """Hold a moisture reading against a range, both ends of which are in."""
    low, high = limits
    if value is None:
        return Check("moisture", Outcome.UNKNOWN, f"no moisture reading; {low} to {high} % asked")
    outcome = Outcome.MEETS if low <= value <= high else Outcome.MISSES
    where = "in" if low <= value <= high else "below" if value < low else "above"
    return Check("moisture", outcome, f"{value} % is {where} {low} to {high} %")


def check_water_activity(value: Decimal | None, below: Decimal) -> Check:
    """Hold a water activity against a limit that it must stay below."""
    if value is None:
        return Check(
            "water activity", Outcome.UNKNOWN, f"no water activity reading; below {below} asked"
        )
    outcome = Outcome.MEETS if value < below else Outcome.MISSES
    return Check("water activity", outcome, f"{value}; below {below} asked")


def _classed(standard: Standard, found: Found, rounding: Rounding) -> Verdict:
    if found.defects is None:
        unknown = Check("class", Outcome.UNKNOWN, "defects were not counted")
        return Verdict(standard, Outcome.UNKNOWN, None, (unknown,))
    serious = found.defects.category_1.by(rounding)
    number = found.defects.total.by(rounding)
    grade = next(
        limit.name
        for limit in standard.classes
        if (limit.most is None or number <= limit.most)
        and (limit.category_1_allowed or serious == 0)
    )
    detail = f"{figure(number)} full defects, {figure(serious)} of them of category 1: {grade}"
    return Verdict(standard, Outcome.CLASSED, grade, (Check("class", Outcome.CLASSED, detail),))
