"""Recording what was found of an arrived lot: counts, weights, inspections."""

from sqlalchemy import select
from sqlmodel import col

from app.green.arrivals.papers import Papers, arriving
from app.green.arrivals.rules import seen
from app.green.arrivals.schemas import (
    CountIn,
    CountOut,
    InspectionIn,
    InspectionOut,
    WeightIn,
    WeightOut,
)
from app.green.arrivals.showing import show_count, show_inspection, show_weight
from app.green.arrivals.tables import ArrivalCount, ArrivalInspection, ArrivalWeight
from app.green.weights import Weights, weigh
from app.ledger.actions import place_hold
from app.ledger.posting import Pen
from app.ledger.tables import HoldRelease, Unit
from app.shared.problems import FieldRefused


def count(pen: Pen, code: str, asked: CountIn) -> CountOut:
    """Record a count; one that does not reconcile is what was seen, and is recorded too."""
    unit, papers = arriving(pen, code)
    invoiced = papers.invoiced if asked.invoiced is None else asked.invoiced
    if invoiced is None:
        raise FieldRefused(
            "#/invoiced", f"nobody said yet how many sacks of {unit.code} were invoiced"
        )
    at = pen.moment(asked.counted_at, "#/counted_at")
    found = asked.model_dump(exclude={"invoiced", "counted_at"})
    counted = ArrivalCount(lot_id=unit.id, entry_id=0, invoiced=invoiced, **found)
    answer = show_count(counted, papers, at, pen.who)
    said = {"lot": unit.code, "invoiced": invoiced, "booked": papers.booked, **found}
    counted.entry_id = pen.note("arrival count", said | {"reconciles": answer.reconciles}, at)
    pen.session.add(counted)
    return answer


def weigh_lot(pen: Pen, code: str, asked: WeightIn) -> WeightOut:
    """Record what a lot weighed on arrival."""
    unit, papers = arriving(pen, code)
    at = pen.moment(asked.weighed_at, "#/weighed_at")
    weights = _weights(asked, papers)
    weighed = ArrivalWeight(
        lot_id=unit.id, entry_id=0, landed_g=weights.net_g, gross_g=weights.gross_g,
        tare_g=weights.tare_g, from_book=asked.landed_g is None and asked.gross_g is None,
        shipped_g=asked.shipped_g or papers.shipped_g, bulk=asked.bulk, place=asked.place,
        note=asked.note,
    )  # fmt: skip
    said = weighed.model_dump(exclude={"id", "lot_id", "entry_id"})
    weighed.entry_id = pen.note("arrival weight", {"lot": unit.code, **said}, at)
    pen.session.add(weighed)
    return show_weight(weighed, papers, pen.settings, at, pen.who)


def _weights(asked: WeightIn, papers: Papers) -> Weights:
    if asked.landed_g is None and asked.gross_g is None:
        return Weights(papers.received_g)
    tare_g = asked.tare_sample.of(papers.booked) if asked.tare_sample else asked.tare_g
    try:
        weights = weigh(asked.landed_g, asked.gross_g, tare_g)
    except ValueError as error:
        raise FieldRefused("#", str(error)) from error
    assert weights is not None  # noqa: S101 - the request was checked for it
    return weights


def inspect(pen: Pen, code: str, asked: InspectionIn) -> InspectionOut:
    """Record what a lot looks and smells like, and hold it where that calls for a hold.

    That hold stands beside the one of the arrival: releasing a lot because it was weighed and
    measured does not let go what an inspection found.
    """
    unit, _ = arriving(pen, code)
    at = pen.moment(asked.inspected_at, "#/inspected_at")
    said = asked.model_dump(exclude={"inspected_at"})
    inspected = ArrivalInspection(lot_id=unit.id, entry_id=0, **said)
    inspected.entry_id = pen.note("inspection", {"lot": unit.code, **said}, at)
    found = seen(inspected)
    if found and pen.settings.hold_on_inspection and not _holds(pen, unit):
        reason = f"inspected on arrival and found: {', '.join(found)}"
        inspected.hold_id = place_hold(pen, inspected.entry_id, [unit], reason).id
    pen.session.add(inspected)
    return show_inspection(inspected, unit.code, at, pen.who)


def _holds(pen: Pen, unit: Unit) -> bool:
    """Tell whether a hold that an inspection of this lot placed is still open."""
    return pen.session.scalar(
        select(col(ArrivalInspection.id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(ArrivalInspection.hold_id))
        .where(col(ArrivalInspection.lot_id) == unit.id)
        .where(col(ArrivalInspection.hold_id).is_not(None), col(HoldRelease.entry_id).is_(None))
        .limit(1)
    ) is not None  # fmt: skip
