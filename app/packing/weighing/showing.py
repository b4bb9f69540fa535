"""Showing a check of weight: its figures are the rules applied to the weights that were booked."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from app.packing.weighing.advice import advise
from app.packing.weighing.schemas import CheckWeighingOut, ContentsOut, LimitsOut, MeanOut
from app.packing.weighing.tables import CheckWeighing
from app.shared.answers import read_json
from app.shared.shares import plain
from app.standards.average_quantity import (
    MG,
    Check,
    Finding,
    Verdict,
    judge,
    limits,
    plan,
    scale_error_g,
)

LARGEST_BATCH = 10_000
"""Away from the end of the line; Directive 76/211/EEC, Annex II 1.2."""


class Weighed(NamedTuple):
    """Of which pack, its nominal quantity, when and by whom, and why it never was."""

    pack: str
    nominal_g: int
    at: datetime
    who: str
    void_reason: str | None = None


def verdict_of(check: Check, batch: int, nominal_g: int, net_mg: Sequence[int]) -> Verdict:
    """Judge weights by a plan.

    Raises:
        ValueError: for a batch, a quantity or a count of weights the plan has no rule for.
    """
    return judge(plan(check, batch), limits(nominal_g, check), net_mg)


def show(row: CheckWeighing, weighed: Weighed) -> CheckWeighingOut:
    """Show a check as it is answered."""
    net_mg: list[int] = [int(each) for each in read_json(row.net_mg)]
    check = Check(row.plan)
    verdict = verdict_of(check, row.batch_bags, weighed.nominal_g, net_mg)
    return CheckWeighingOut(
        id=row.id,
        pack=weighed.pack,
        plan=check,
        batch_bags=row.batch_bags,
        finding=verdict.finding,
        advice=advise(check, verdict.limits, net_mg),
        limits=_limits(verdict, weighed.nominal_g),
        contents=_contents(verdict),
        mean=_mean(verdict),
        warnings=[
            *_warnings(verdict, weighed.nominal_g, row.batch_bags),
            *_more_warnings(verdict, net_mg),
        ],
        weights=[grams(each) for each in net_mg],
        tare=grams(row.tare_mg) if row.tare_mg else None,
        instrument=row.instrument,
        note=row.note,
        hold=row.hold_id,
        weighed_at=weighed.at,
        weighed_by=weighed.who,
        voided=weighed.void_reason is not None,
        void_reason=weighed.void_reason,
    )


def grams(milligrams: Decimal | Fraction | int, places: int = 3) -> Decimal:
    """Write milligrams as grams, rounded half to even."""
    exact = Fraction(milligrams) / MG
    return plain(Decimal(round(exact * 10**places)).scaleb(-places))


def _limits(verdict: Verdict, nominal_g: int) -> LimitsOut:
    american = verdict.plan.check is Check.US
    return LimitsOut(
        nominal_g=nominal_g,
        error_g=grams(verdict.limits.error_mg),
        t1_g=grams(verdict.limits.t1_mg),
        t2_g=None if american else grams(verdict.limits.t2_mg),
        scale_error_g=None if american else plain(scale_error_g(nominal_g)),
    )


def _contents(verdict: Verdict) -> ContentsOut:
    return ContentsOut(
        weighed=verdict.weighed,
        defective=verdict.defective,
        accept_at_most=verdict.decided_by.accept,
        reject_from=verdict.decided_by.reject,
        below_t2=verdict.below_t2,
        finding=verdict.contents,
    )


def _mean(verdict: Verdict) -> MeanOut:
    mean = verdict.mean
    return MeanOut(
        of=verdict.plan.mean_of,
        mean_g=grams(mean.mean_mg),
        deviation_g=grams(mean.deviation_mg, 4),
        limit_g=grams(mean.limit_mg),
        finding=mean.finding,
    )


def _warnings(verdict: Verdict, nominal_g: int, batch: int) -> Iterator[str]:
    if verdict.below_t2:
        yield (
            f"{verdict.below_t2} of {verdict.weighed} bags are below T2 "
            f"({grams(verdict.limits.t2_mg)} g): none of that kind may leave."
        )
    mean = verdict.mean
    if mean.finding is Finding.ACCEPTED and mean.mean_mg < nominal_g * MG:
        yield (
            f"The mean of {grams(mean.mean_mg)} g is below the {nominal_g} g of the label though "
            "the test allows it: a sample's test is no target to fill to."
        )
    if verdict.contents is Finding.SECOND_SAMPLE:
        yield "The first sample does not decide: weigh as many more and enter all of them together."
    if batch > LARGEST_BATCH:
        yield (
            f"Away from the end of the line a check batch has at most {LARGEST_BATCH} bags; "
            f"this one has {batch}."
        )


def _more_warnings(verdict: Verdict, net_mg: Sequence[int]) -> Iterator[str]:
    """Say why the advice is not to go on, where nothing above does."""
    limits_mg = verdict.limits
    mean = Fraction(sum(net_mg), len(net_mg))
    if mean < limits_mg.nominal_mg and verdict.mean.finding is not Finding.ACCEPTED:
        yield (
            f"The running mean of {grams(mean)} g is below the {limits_mg.nominal_mg // MG} g of "
            "the label."
        )
    short = sum(weight < limits_mg.t1_mg for weight in net_mg)
    if short:
        yield f"{short} of {len(net_mg)} bags are below T1 ({grams(limits_mg.t1_mg)} g)."
