"""Showing a check of weight: its figures are the rules applied to the weights that were booked."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from app.packing.weighing.advice import advise
from app.packing.weighing.figures import grams
from app.packing.weighing.pointing_out import pointed_out
from app.packing.weighing.schemas import CheckWeighingOut, ContentsOut, LimitsOut, MeanOut
from app.packing.weighing.tables import CheckWeighing
from app.shared.answers import read_json
from app.shared.shares import plain
from app.standards.average_quantity import (
    Check,
    Verdict,
    judge,
    limits,
    plan,
    scale_error_g,
)


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
    shown = CheckWeighingOut(
        id=row.id,
        pack=weighed.pack,
        plan=check,
        batch_bags=row.batch_bags,
        finding=verdict.finding,
        advice=advise(check, verdict.limits, net_mg),
        limits=_limits(verdict, weighed.nominal_g),
        contents=_contents(verdict),
        mean=_mean(verdict),
        warnings=[],
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
    shown.warnings.extend(pointed_out(shown.model_dump(by_alias=True)))
    return shown


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
