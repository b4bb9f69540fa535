"""Whether packages hold what their labels say, by the average system or the American rules.

The average system is Directive 76/211/EEC and, in the United Kingdom, SI 2006/659: the mean of a
check batch is not below the nominal quantity, few packages are short by more than the tolerable
negative error (below T1), none by more than twice that (below T2). The American rules (NIST
Handbook 133) stand here from memory. Weights are whole milligrams, and every decision is made on
exact fractions: a mean that equals its limit is accepted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

MG: Final = 1000
"""Milligrams in a gram."""

NOMINAL_G: Final = (5, 25_000)
"""SI 2006/659 covers packages of 5 g to 25 kg; the mark of the Directive ends at 10 kg."""

_SQUARE_ROOTS = Context(prec=40)


class Check(StrEnum):
    """By which plan a check batch is sampled."""

    DOUBLE = "double"
    """Two samples at most, nothing opened: Directive 76/211/EEC, Annex II 2.2.1."""
    SINGLE = "single"
    """One larger sample, nothing opened: SI 2006/659, Schedule 2, paragraph 3."""
    DESTRUCTIVE = "destructive"
    """Twenty packages opened: Directive 76/211/EEC, Annex II 2.2.2."""
    EVERY = "every"
    """Every package of a batch below a hundred: SI 2006/659, Schedule 2, paragraph 3."""
    US = "us"
    """Handbook 133, category A, from memory."""


class Finding(StrEnum):
    """What a part of a test says."""

    ACCEPTED = "accepted"
    SECOND_SAMPLE = "second_sample"
    """Neither accepted nor rejected yet: weigh the second sample too."""
    REJECTED = "rejected"


@dataclass(frozen=True)
class Step:
    """How many packages have been weighed by then, and which counts of defectives decide."""

    weighed: int
    accept: int
    reject: int


@dataclass(frozen=True)
class Plan:
    """How a batch is checked."""

    check: Check
    steps: tuple[Step, ...]
    mean_of: int
    """So many packages, the first weighed, are the sample of the mean."""
    factor: Fraction
    """The mean may stay below nominal by so many standard deviations of its sample."""


@dataclass(frozen=True)
class Limits:
    """What the weights of a nominal quantity are held against, in milligrams."""

    nominal_mg: int
    error_mg: int
    """The tolerable negative error, or the allowed variation of the American rules."""

    @property
    def t1_mg(self) -> int:
        """A package below this is defective."""
        return self.nominal_mg - self.error_mg

    @property
    def t2_mg(self) -> int:
        """No package may be below this."""
        return self.nominal_mg - 2 * self.error_mg


@dataclass(frozen=True)
class Mean:
    """The test of the mean, in milligrams."""

    mean_mg: Fraction
    deviation_mg: Decimal
    """Of the sample, dividing by one less than its count."""
    limit_mg: Decimal
    finding: Finding


@dataclass(frozen=True)
class Verdict:
    """What a check says of a batch."""

    plan: Plan
    limits: Limits
    weighed: int
    defective: int
    """Below T1, among the packages that decided."""
    below_t2: int
    """Among all that were weighed."""
    decided_by: Step
    contents: Finding
    mean: Mean
    finding: Finding


# Directive 76/211/EEC, Annex I 2.4: up to so many grams, per mille of nominal or fixed grams.
_ERRORS: Final = (
    (50, 90, None),
    (100, None, Decimal("4.5")),
    (200, 45, None),
    (300, None, Decimal(9)),
    (500, 30, None),
    (1_000, None, Decimal(15)),
    (10_000, 15, None),
    (15_000, None, Decimal(150)),
)
_ABOVE_THEM: Final = 10
"""Per mille, above 15 kg."""

# NIST Handbook 133, maximum allowable variations of some common packages: from memory.
_US_ERRORS: Final = {
    113: Decimal("7.2"), 227: Decimal("12.7"), 250: Decimal("12.7"), 340: Decimal("16.3"),
    454: Decimal("19.9"),
}  # fmt: skip

_DOUBLE: Final = (
    (500, (Step(30, 1, 3), Step(60, 4, 5))),
    (3_200, (Step(50, 2, 5), Step(100, 6, 7))),
    (None, (Step(80, 3, 7), Step(160, 8, 9))),
)
_SINGLE: Final = (
    (500, (Step(50, 3, 4),)),
    (3_200, (Step(80, 5, 6),)),
    (None, (Step(125, 7, 8),)),
)
_SMALLEST_SAMPLED: Final = 100
_FACTOR_30: Final = Fraction(503, 1000)
_FACTOR_50: Final = Fraction(379, 1000)
_FACTOR_20: Final = Fraction(640, 1000)
_FEW_DEFECTIVE: Final = Fraction(5, 100)
"""Of a batch below a hundred, all of which are weighed."""
_US: Final = (
    (250, 12, Fraction(635, 1000)),
    (3_200, 24, Fraction(422, 1000)),
    (None, 48, Fraction(290, 1000)),
)
_US_SMALLEST: Final = 12


def tolerable_error_g(nominal_g: int) -> Decimal:
    """Give the tolerable negative error: a share is rounded up to a tenth of a gram.

    Raises:
        ValueError: for a nominal quantity that the average system does not cover.
    """
    least, most = NOMINAL_G
    if not least <= nominal_g <= most:
        raise ValueError(f"the average system covers {least} to {most} g, not {nominal_g} g")
    for upto, per_mille, fixed in _ERRORS:
        if nominal_g <= upto:
            return fixed if fixed is not None else _share_up(nominal_g, per_mille or 0)
    return _share_up(nominal_g, _ABOVE_THEM)


def _share_up(nominal_g: int, per_mille: int) -> Decimal:
    return Decimal(-(-nominal_g * per_mille // 100)) / 10


def limits(nominal_g: int, check: Check) -> Limits:
    """Give what weights are held against under a plan.

    Raises:
        ValueError: where the rules have no figure for this nominal quantity, or none is known.
    """
    if check is Check.US:
        if nominal_g not in _US_ERRORS:
            known = ", ".join(str(each) for each in _US_ERRORS)
            raise ValueError(f"the American figure is known for {known} g, not for {nominal_g} g")
        error = _US_ERRORS[nominal_g]
    else:
        error = tolerable_error_g(nominal_g)
    return Limits(nominal_g * MG, int(error * MG))


def scale_error_g(nominal_g: int) -> Decimal:
    """Give how far a scale may be off: a fifth of the tolerable negative error."""
    return tolerable_error_g(nominal_g) / 5


def plan(check: Check, batch: int) -> Plan:
    """Give the plan for a batch.

    Raises:
        ValueError: for a batch that the plan is not made for.
    """
    if check is Check.US:
        return _us(batch)
    if check is Check.EVERY:
        if batch >= _SMALLEST_SAMPLED:
            raise ValueError(f"every package is weighed below 100 packages; these are {batch}")
        few = int(batch * _FEW_DEFECTIVE)
        return Plan(check, (Step(batch, few, few + 1),), batch, Fraction(0))
    if batch < _SMALLEST_SAMPLED:
        raise ValueError(f"a sample is drawn from 100 packages or more, not from {batch}")
    if check is Check.DESTRUCTIVE:
        return Plan(check, (Step(20, 1, 2),), 20, _FACTOR_20)
    rows = _DOUBLE if check is Check.DOUBLE else _SINGLE
    steps = next(steps for upto, steps in rows if upto is None or batch <= upto)
    small = batch <= 500  # noqa: PLR2004 - the first row of the table of the mean test
    return Plan(check, steps, 30 if small else 50, _FACTOR_30 if small else _FACTOR_50)


def _us(batch: int) -> Plan:
    if batch < _US_SMALLEST:
        raise ValueError(f"the American plan begins at {_US_SMALLEST} packages, not {batch}")
    rows = (row for row in _US if row[0] is None or batch <= row[0])
    _, count, factor = next(rows)
    return Plan(Check.US, (Step(count, 0, 1),), count, factor)


def judge(chosen: Plan, held_against: Limits, weights_mg: Sequence[int]) -> Verdict:
    """Judge a batch by the weights of its sample, in the order in which they were weighed.

    Raises:
        ValueError: when there are more or fewer weights than a step of the plan asks for.
    """
    counts = [step.weighed for step in chosen.steps]
    if len(weights_mg) not in counts:
        wanted = " or, where the first sample does not decide, ".join(map(str, counts))
        raise ValueError(f"this plan wants {wanted} weights, not {len(weights_mg)}")
    for step in chosen.steps:
        defective = sum(w < held_against.t1_mg for w in weights_mg[: step.weighed])
        contents = _decide(step, defective)
        if contents is not Finding.SECOND_SAMPLE or step.weighed == len(weights_mg):
            break
    mean = _mean(chosen, held_against, weights_mg[: chosen.mean_of])
    below_t2 = sum(w < held_against.t2_mg for w in weights_mg)
    if chosen.check is Check.US:
        below_t2 = 0  # those rules know one limit
    rejected = Finding.REJECTED in {contents, mean.finding} or below_t2
    return Verdict(
        chosen, held_against, len(weights_mg), defective, below_t2, step, contents, mean,
        Finding.REJECTED if rejected else contents,
    )  # fmt: skip


def _decide(step: Step, defective: int) -> Finding:
    if defective <= step.accept:
        return Finding.ACCEPTED
    return Finding.REJECTED if defective >= step.reject else Finding.SECOND_SAMPLE


def _mean(chosen: Plan, held_against: Limits, weights_mg: Sequence[int]) -> Mean:
    count = len(weights_mg)
    mean = Fraction(sum(weights_mg), count)
    squares = sum(((weight - mean) ** 2 for weight in weights_mg), Fraction(0))
    variance = squares / (count - 1) if count > 1 else Fraction(0)
    short = held_against.nominal_mg - mean
    # Compared as squares, so that no root is rounded before the decision.
    accepted = short <= 0 or short**2 <= chosen.factor**2 * variance
    deviation = _root(variance)
    factor = Decimal(chosen.factor.numerator) / chosen.factor.denominator
    limit = held_against.nominal_mg - factor * deviation
    finding = Finding.ACCEPTED if accepted else Finding.REJECTED
    return Mean(mean, deviation, limit, finding)


def _root(of: Fraction) -> Decimal:
    quotient = _SQUARE_ROOTS.divide(Decimal(of.numerator), Decimal(of.denominator))
    return _SQUARE_ROOTS.sqrt(quotient)
