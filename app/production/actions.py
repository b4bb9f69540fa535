"""Planning the batches that a day needs, in one transaction."""

from app.ledger.posting import Pen
from app.production.queries import gaps_of
from app.production.schemas import NotPlanned, PlanIn, PlanOut
from app.production.working import MOST_BATCHES, Roasting, work_out
from app.roasting.batches.actions import Planned, write_plan
from app.roasting.batches.queries import batches
from app.shared.mass import kg_text
from app.shared.periods import Period, period
from app.shared.problems import FieldRefused


def plan_needs(pen: Pen, asked: PlanIn) -> PlanOut:
    """Plan what is needed and not planned yet; what lacks green or figures is named instead."""
    days = _days(asked)
    work = work_out(pen.session, days, pen.settings, pen.now)
    planned, left = [], []
    for one in work.roasting:
        planned += _ready(one)
        left += _not_ready(one)
    numbers = write_plan(pen, asked.on, planned, asked.model_dump(mode="json"))
    return PlanOut(
        on=asked.on, batches=batches(pen.session, numbers), not_planned=left, gaps=gaps_of(work)
    )


def _days(asked: PlanIn) -> Period:
    first = asked.first or min(asked.on, asked.last or asked.on)
    days = period(first, asked.last or max(asked.on, first), 1)
    if asked.on > days.last:
        # Else the next plan of the same days would not know of these batches.
        raise FieldRefused("#/on", f"{asked.on} is later than {days.last}, the last day of need")
    return days


def _plannable(one: Roasting) -> bool:
    return not one.by_age and one.batches is not None and one.batches.charges <= MOST_BATCHES


def _ready(one: Roasting) -> list[Planned]:
    if not _plannable(one):
        return []
    return [
        Planned(one.style, one.machine, sum(each.green.values()), each.green)
        for each in one.filled
        if not each.short_g
    ]


def _not_ready(one: Roasting) -> list[NotPlanned]:
    short = [each for each in one.filled if each.short_g]
    if _plannable(one) and short:
        why = f"{kg_text(one.short_g)} of green are short"
        return [NotPlanned(style=one.style.name, batches=len(short), why=why)]
    if _plannable(one) or not one.to_roast_g:
        return []
    count = one.batches.charges if one.batches else None
    why = "the style names no green" if one.by_age else "no charge, or too many of them"
    return [NotPlanned(style=one.style.name, batches=count, why=why)]
