"""Reading what was found of arrived lots: one lot in full, and every fact ever recorded."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.arrivals.checklist import newest_moisture, newest_sample, standing_of
from app.green.arrivals.exceptions import exceptions_of
from app.green.arrivals.newest import Fact, newest, of_lot
from app.green.arrivals.papers import Papers, papers_at
from app.green.arrivals.rules import Step
from app.green.arrivals.schemas import (
    ArrivalOut,
    CountOut,
    LotArrival,
    MoistureOut,
    StepOut,
)
from app.green.arrivals.showing import show_clocks, show_count, show_inspection, show_weight
from app.green.arrivals.tables import ArrivalCount, ArrivalInspection, ArrivalWeight
from app.ledger.queries import on_hold
from app.ledger.tables import Unit
from app.settings import Settings
from app.shared.mass import kg_from_grams, kg_text
from app.shared.paging import Page, PageOf, turn_page


class _Said(NamedTuple):
    """What was last said of a step, when and by whom."""

    at: datetime
    who: str
    detail: str


def arrival(session: Session, code: str, settings: Settings) -> ArrivalOut:
    """Read the order of work on a lot, and what stands of it."""
    unit, papers = papers_at(session, code, settings)
    counts = newest(session, ArrivalCount, [unit.id])
    counted = counts.get(unit.id)
    weighed = newest(session, ArrivalWeight, [unit.id]).get(unit.id)
    inspected = newest(session, ArrivalInspection, [unit.id]).get(unit.id)
    count = show_count(counted.found, papers, counted.at, counted.who) if counted else None
    weight = (
        show_weight(weighed.found, papers, settings, weighed.at, weighed.who) if weighed else None
    )
    seen = (
        show_inspection(inspected.found, unit.code, inspected.at, inspected.who)
        if inspected
        else None
    )
    moisture = _moisture(newest_moisture(session, unit.id), papers)
    standing = standing_of(session, [unit.id], counts)[unit.id]
    sample = newest_sample(session, unit.id) if Step.SAMPLE not in standing.open_steps else None
    said = {}
    if count:
        said[Step.COUNT] = _Said(count.counted_at, count.counted_by, _counted(count))
    if weight:
        landed = f"{kg_text(weight.landed_g)} landed; {weight.claim}"
        said[Step.WEIGHT] = _Said(weight.weighed_at, weight.weighed_by, landed)
    if seen:
        found = ", ".join(seen.found) or "nothing found that calls for a hold"
        said[Step.INSPECTION] = _Said(seen.inspected_at, seen.inspected_by, found)
    if sample:
        drawn = f"{kg_text(-sample.grams)} drawn"
        said[Step.SAMPLE] = _Said(sample.happened_at, sample.who, drawn)
    if moisture:
        said[Step.MOISTURE] = _Said(moisture.taken_at, moisture.taken_by, _measured(moisture))
    return ArrivalOut(
        lot=unit.code, delivery=papers.delivery,
        contract=papers.contract.reference if papers.contract else None,
        held=bool(session.scalar(select(on_hold(col(Unit.id))).where(col(Unit.id) == unit.id))),
        voided=unit.voided_entry_id is not None,
        open_steps=standing.open_steps, closed_at=standing.closed_at,
        steps=list(_steps(standing, said)),
        count=count, weight=weight, inspection=seen, moisture=moisture,
        clocks=show_clocks(papers), exceptions=exceptions_of(session, [unit.id]),
    )  # fmt: skip


def _moisture(row: Any, papers: Papers) -> MoistureOut | None:  # noqa: ANN401 - a row
    if row is None:
        return None
    pct = kg_from_grams(row.value_milli)  # thousandths, as grams are
    limit = papers.contract.arrival_moisture_limit_pct if papers.contract else None
    return MoistureOut(
        pct=pct,
        limit_pct=limit,
        within=None if limit is None else pct <= limit,
        taken_at=row.happened_at,
        taken_by=row.who,
    )


def _steps(standing: LotArrival, said: Mapping[Step, _Said]) -> Iterator[StepOut]:
    for step in Step:
        last = said.get(step)
        yield StepOut(
            step=step,
            done=step not in standing.open_steps,
            at=last.at if last else None,
            by=last.who if last else None,
            detail=last.detail if last else None,
        )


def _counted(count: CountOut) -> str:
    accounted = count.invoiced + count.against_invoice
    found = count.booked + count.against_book
    said = f"{accounted} of {count.invoiced} invoiced accounted for, {found} of {count.booked} here"
    return said if count.reconciles else f"does not reconcile: {said}"


def _measured(moisture: MoistureOut) -> str:
    if moisture.limit_pct is None:
        return f"{moisture.pct} %"
    where = "within" if moisture.within else "above"
    return f"{moisture.pct} %, {where} the contract's {moisture.limit_pct} %"


def count_page(session: Session, page: Page, code: str, settings: Settings) -> PageOf:
    """Read the counts of a lot, oldest first."""
    unit, papers = papers_at(session, code, settings)
    rows, following = turn_page(session, of_lot(ArrivalCount, unit.id), col(ArrivalCount.id), page)
    facts = [Fact(row.ArrivalCount, row.happened_at, row.who) for row in rows]
    return [
        show_count(each.found, papers, each.at, each.who).model_dump() for each in facts
    ], following


def weight_page(session: Session, page: Page, code: str, settings: Settings) -> PageOf:
    """Read the weights of a lot, oldest first."""
    unit, papers = papers_at(session, code, settings)
    rows, following = turn_page(
        session, of_lot(ArrivalWeight, unit.id), col(ArrivalWeight.id), page
    )
    facts = [Fact(row.ArrivalWeight, row.happened_at, row.who) for row in rows]
    return [
        show_weight(each.found, papers, settings, each.at, each.who).model_dump() for each in facts
    ], following


def inspection_page(session: Session, page: Page, code: str, settings: Settings) -> PageOf:
    """Read the inspections of a lot, oldest first."""
    unit, _ = papers_at(session, code, settings)
    rows, following = turn_page(
        session, of_lot(ArrivalInspection, unit.id), col(ArrivalInspection.id), page
    )
    facts = [Fact(row.ArrivalInspection, row.happened_at, row.who) for row in rows]
    return [
        show_inspection(each.found, unit.code, each.at, each.who).model_dump() for each in facts
    ], following
