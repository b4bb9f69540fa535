"""The evidence of one lot, and of every lot behind a unit.

A lot without evidence makes everything it went into incomplete, however small its part: goods that
can be shown and goods that cannot may not be mixed. So the shares of a trace play no role here.
"""

from collections.abc import Collection, Iterable
from datetime import date
from typing import Final

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.evidence.queries import known_of, lots_under
from app.green.evidence.rules import Known, Named, lacking
from app.green.evidence.schemas import LackOut, LotStanding, StatementOut
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.ledger.walk import lots_behind, reached_from
from app.settings import Settings
from app.shared.days import day_of
from app.shared.speech import N_
from app.standards.due_diligence import kept_until
from app.standards.geolocation import hectares
from app.tracing.carry_over import contacts
from app.tracing.evidence.schemas import LotEvidence, UnitEvidence, UnitIs
from app.tracing.schemas import Direction
from app.tracing.walk import walk

CAUTION: Final = N_(
    "These records help to show due diligence. Whether it was done is for the competent authority "
    "to judge by the law in force."
)


def lot_evidence(session: Session, code: str, settings: Settings) -> LotEvidence:
    """Read what counts for a lot, what it lacks, and until when it is kept."""
    lot = live(unit_by_code(session, code, UnitKind.LOT))
    known = known_of(session, [lot.id])[lot.id]
    first, last = _dispatched(session, lot.id)
    years = settings.eudr_kept_years
    return LotEvidence(
        **_standing(known, settings).model_dump(),
        from_operator=known.from_operator,
        plot_file=known.plots.number if known.plots else None,
        plots=known.plots.plots if known.plots else 0,
        area_ha=hectares(known.plots.area_m2 if known.plots else 0),
        statements=[StatementOut(**named._asdict()) for named in known.statements],
        hs_code=known.hs_code,
        produced_from=known.produced_from,
        produced_to=known.produced_to,
        not_available=known.not_available,
        placed_on_market_on=first,
        retained_until=kept_until(first, years) if first else None,
        last_dispatched_on=last,
        last_retained_until=kept_until(last, years) if last else None,
        applies_on=settings.eudr_applies_on,
        cut_off_on=settings.eudr_cut_off_on,
        notices=_notices(session, known.statements, settings.eudr_statement_lines),
        caution=CAUTION,
    )


def unit_evidence(
    session: Session, code: str, settings: Settings, *, carry_over: bool = False
) -> UnitEvidence:
    """Judge every lot behind a unit, and with `carry_over` those it may have touched."""
    unit = live(unit_by_code(session, code))
    lots = _standings(session, lots_behind(session, [unit.id]), settings)
    touched = None
    if carry_over:
        beside = contacts(session, walk(session, [unit.id], Direction.BACKWARD), hops=1)
        near = [number for number, each in beside.found.items() if each.unit.kind == UnitKind.LOT]
        touched = _standings(session, near, settings)
    without = [lot.lot for lot in lots if not lot.complete]
    return UnitEvidence(
        of=UnitIs(code=unit.code, kind=unit.kind),
        complete=bool(lots) and not without,
        lots=lots,
        without_evidence=without,
        possible_contact=touched,
        caution=CAUTION,
    )


def _standings(session: Session, lot_ids: Collection[int], settings: Settings) -> list[LotStanding]:
    return [_standing(known, settings) for known in known_of(session, lot_ids).values()]


def _standing(known: Known, settings: Settings) -> LotStanding:
    lacks = lacking(known, trader_plots=settings.eudr_trader_plots)
    return LotStanding(
        lot=known.lot,
        name=known.name,
        origin=known.origin,
        supplier=known.supplier,
        delivery=known.delivery,
        role=known.role,
        complete=not lacks,
        lacking=[LackOut(what=what, why=why) for what, why in lacks],
    )


def _dispatched(session: Session, lot_id: int) -> tuple[date | None, date | None]:
    """Find the days of the first and the last dispatch of anything of a lot."""
    reached = reached_from(col(Unit.id) == lot_id, forward=True)
    first, last = session.execute(
        select(func.min(col(Entry.happened_at)), func.max(col(Entry.happened_at)))
        .join(Unit, col(Unit.born_entry_id) == col(Entry.id))
        .join(reached, reached.c.id == col(Unit.id))
        .where(col(Unit.kind) == UnitKind.DISPATCH, col(Unit.voided_entry_id).is_(None))
    ).one()
    return (day_of(first) if first else None), (day_of(last) if last else None)


def _notices(session: Session, statements: Iterable[Named], most_lots: int) -> list[str]:
    references = [named.reference for named in statements]
    return [
        f"statement {reference} stands on {lots} lots: official material allows 200 lines in one "
        f"place and 100 in another, and this roastery points it out above {most_lots}"
        for reference, lots in lots_under(session, references).items()
        if lots > most_lots
    ]
