"""Showing facts about arrived lots, with what follows from them and the papers."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal

from app.green.arrivals.papers import Papers
from app.green.arrivals.rules import APART, CLEAN, seen
from app.green.arrivals.schemas import ClockOut, CountOut, InspectionOut, WeightOut
from app.green.arrivals.tables import ArrivalCount, ArrivalInspection, ArrivalWeight
from app.settings import Settings
from app.shared.days import today_here
from app.shared.mass import kg_text
from app.standards.buying import (
    Claim,
    Clock,
    Count,
    Reconciled,
    WeightBasis,
    clocks,
    is_over,
    reconcile,
    weigh_up,
)

_COUNTED = ("invoiced", "sound", "slack", "torn", "wet", "mouldy", "missing", "over")


def reconciled(counted: ArrivalCount, papers: Papers) -> Reconciled:
    """Hold a count against invoice and book."""
    return reconcile(Count(*(getattr(counted, each) for each in _COUNTED)), papers.booked)


def show_count(counted: ArrivalCount, papers: Papers, at: datetime, who: str) -> CountOut:
    """Answer a count with what it comes to."""
    result = reconciled(counted, papers)
    return CountOut(
        lot=papers.lot,
        booked=papers.booked,
        reconciles=result.reconciles,
        against_invoice=result.against_invoice,
        against_book=result.against_book,
        note=counted.note,
        counted_at=at,
        counted_by=who,
        **{each: getattr(counted, each) for each in _COUNTED},
    )


def show_weight(
    weighed: ArrivalWeight, papers: Papers, settings: Settings, at: datetime, who: str
) -> WeightOut:
    """Answer a weight with the loss and the claim that follow from it."""
    shipped_g, terms = weighed.shipped_g, papers.terms
    usual = settings.usual_loss_bulk_pct if weighed.bulk else settings.usual_loss_bagged_pct
    found = _weighed_up(weighed, papers)
    claimable_g, words = claim_of(weighed, papers)
    shipped_basis = terms is not None and terms.basis is WeightBasis.SHIPPED
    return WeightOut(
        lot=papers.lot, landed_g=weighed.landed_g, from_book=weighed.from_book,
        sweepings_g=papers.sweepings_g, gross_g=weighed.gross_g, tare_g=weighed.tare_g,
        shipped_g=shipped_g,
        loss_g=found.loss_g if found else None,
        loss_pct=found.loss_pct if found else None,
        over_usual=is_over(found.loss_g, shipped_g, usual) if found and shipped_g else None,
        usual_loss_pct=usual,
        contract=papers.contract.reference if papers.contract else None,
        weight_basis=terms.basis if terms else None,
        franchise_pct=terms.franchise_pct if terms and shipped_basis else None,
        franchise_g=found.franchise_g if found and shipped_basis else None,
        claimable_g=claimable_g, claim=words, bulk=weighed.bulk, place=weighed.place,
        note=weighed.note, weighed_at=at, weighed_by=who,
    )  # fmt: skip


def _weighed_up(weighed: ArrivalWeight, papers: Papers) -> Claim | None:
    if weighed.shipped_g is None:
        return None
    franchise_pct = papers.terms.franchise_pct if papers.terms else Decimal(0)
    return weigh_up(weighed.shipped_g, weighed.landed_g, franchise_pct)


def claim_of(weighed: ArrivalWeight, papers: Papers) -> tuple[int | None, str]:
    """Say how much can be claimed by weight, and why; None where too little is known."""
    found, terms = _weighed_up(weighed, papers), papers.terms
    if terms is None:
        return None, "no contract: nothing says who bears a loss"
    if terms.basis is WeightBasis.LANDED:
        return 0, "paid on the landed weight: no claim by weight"
    if found is None:
        return None, "nobody said what was shipped"
    franchise = f"the franchise of {kg_text(found.franchise_g)} ({terms.franchise_pct} %)"
    if found.claimable_g:
        return found.claimable_g, f"a loss of {kg_text(found.loss_g)} less {franchise}"
    if found.loss_g > 0:
        return 0, f"a loss of {kg_text(found.loss_g)} is within {franchise}"
    return 0, "nothing was lost"


def show_inspection(
    inspected: ArrivalInspection, lot: str, at: datetime, who: str
) -> InspectionOut:
    """Answer an inspection with the words that go with it."""
    found = seen(inspected)
    return InspectionOut(
        lot=lot, clean=not found, found=found, hold=inspected.hold_id,
        musty_smell=inspected.musty_smell, foreign_smell=inspected.foreign_smell,
        live_insects=inspected.live_insects, wet_marks=inspected.wet_marks,
        mould=inspected.mould, husks_or_pods=inspected.husks_or_pods,
        caution=APART if found else CLEAN, note=inspected.note, inspected_at=at,
        inspected_by=who,
    )  # fmt: skip


def show_clocks(papers: Papers | None) -> list[ClockOut]:
    """Show what has to be done by when; none while the day of discharge is not known."""
    if papers is None or papers.terms is None or papers.discharged_on is None:
        return []
    return list(_shown(clocks(papers.discharged_on, papers.terms)))


def _shown(running: Iterable[Clock]) -> Iterator[ClockOut]:
    today = today_here()
    for clock in running:
        yield ClockOut(**clock._asdict(), days_left=(clock.by - today).days)
