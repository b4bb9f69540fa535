"""Reading all that the evidence of a case says, in one state of the book."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Flow, Unit
from app.ledger.then import newest_entry
from app.packing.tables import Pack, Product
from app.places.tables import Location
from app.recall.cases import case_at
from app.recall.drills.queries import drill
from app.recall.drills.schemas import DrillOut
from app.recall.evidence.events import Event, events_of
from app.recall.flow import FlowOfCase, flow_of_scope
from app.recall.frozen import Frozen, all_of, newest, scope_now
from app.recall.queries import case_out
from app.recall.reconciling import reconcile
from app.recall.reports import ReconciliationOut
from app.recall.schemas import CaseOut, LogLine, ScopeOut
from app.recall.scope import ScopeUnit
from app.recall.showing import whole
from app.recall.written import log, written_of
from app.settings import Settings
from app.shared.db import among
from app.tracing.reached import rows_of


class Known(NamedTuple):
    """What stands on the card of a unit, and where it is now."""

    left_now_g: int
    location: str | None
    held: bool
    voided: bool
    made_at: datetime
    product: str | None = None
    lot_mark: str | None = None
    best_before: date | None = None
    name: str | None = None
    supplier: str | None = None
    delivery: str | None = None
    reference: str | None = None
    ico_mark: str | None = None


@dataclass(frozen=True)
class Evidence:
    """Everything about a case."""

    firm: str
    firm_address: str
    case: CaseOut
    scopes: int
    frozen: Frozen
    scope: ScopeOut
    """The frozen scope, as it is answered."""
    reconciliation: ReconciliationOut
    """As the book has it now."""
    log: Sequence[LogLine]
    drill: DrillOut | None
    known: dict[int, Known]
    events: Sequence[Event]
    flows: Sequence[tuple[str, str, int, str]]
    """Source, target, grams and the kind of the target."""
    pictures: Sequence[FlowOfCase]
    entry: int
    """The last entry of the journal that was read,"""
    recorded_at: datetime
    """and when it was written."""

    @property
    def units(self) -> Sequence[ScopeUnit]:
        """Every unit of the frozen scope, possible contact too, oldest first."""
        return sorted(self.frozen.scope.units, key=lambda unit: unit.id)


def evidence(session: Session, code: str, settings: Settings) -> Evidence:
    """Read a case with the scope that was frozen last.

    Raises:
        Refused: `recall-state` where none was frozen yet.
    """
    case = case_at(session, code)
    frozen = newest(session, case.row.id, code)
    scopes = all_of(session, case.row.id)
    latest = {each.scope.direction: each for each in scopes}
    ids = [unit.id for unit in frozen.scope.units]
    entry = newest_entry(session)
    written = written_of(session, case.row.id)
    return Evidence(
        firm=settings.firm_name,
        firm_address=settings.firm_address,
        case=case_out(session, case),
        scopes=len(scopes),
        frozen=frozen,
        scope=whole(frozen),
        reconciliation=reconcile(session, case, scope_now(session, frozen), written),
        log=[LogLine.model_validate(line) for line in log(written)],
        drill=drill(session, code, settings) if case.row.drill else None,
        known=_known(session, ids),
        events=events_of(session, ids),
        flows=_flows(session, ids),
        pictures=[FlowOfCase(case, each, flow_of_scope(session, each)) for each in latest.values()],
        entry=entry,
        recorded_at=session.get_one(Entry, entry).recorded_at,
    )


def _known(session: Session, ids: Sequence[int]) -> dict[int, Known]:
    rows = rows_of(
        session,
        select(
            col(Unit.id), col(Unit.left_g), col(Location.code), on_hold(col(Unit.id)),
            col(Unit.voided_entry_id), col(Entry.happened_at),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.id), ids)),
    )  # fmt: skip
    found = {
        unit: Known(left_g, place, bool(held), voided is not None, made_at)
        for unit, left_g, place, held, voided, made_at in rows
    }
    for unit, said in [*_packs(session, ids), *_lots(session, ids)]:
        found[unit] = found[unit]._replace(**said)
    return found


def _packs(session: Session, ids: Sequence[int]) -> list[tuple[int, dict[str, Any]]]:
    rows = rows_of(
        session,
        select(col(Pack.unit_id), col(Product.sku), col(Pack.lot_mark), col(Pack.best_before))
        .join(Product, col(Product.id) == col(Pack.product_id))
        .where(among(session, col(Pack.unit_id), ids)),
    )
    return [
        (unit, {"product": sku, "lot_mark": mark, "best_before": until})
        for unit, sku, mark, until in rows
    ]


def _lots(session: Session, ids: Sequence[int]) -> list[tuple[int, dict[str, Any]]]:
    rows = rows_of(
        session,
        select(
            col(GreenLot.unit_id), col(GreenLot.name), col(Supplier.name), col(Delivery.code),
            col(Delivery.reference), col(GreenLot.ico_mark),
        )
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .where(among(session, col(GreenLot.unit_id), ids)),
    )  # fmt: skip
    names = ("name", "supplier", "delivery", "reference", "ico_mark")
    return [(unit, dict(zip(names, said, strict=True))) for unit, *said in rows]


def _flows(session: Session, ids: Sequence[int]) -> list[tuple[str, str, int, str]]:
    """Read what flowed into and out of units, but for what was voided."""
    source, target = aliased(Unit), aliased(Unit)
    found = set()
    for column in (col(Flow.source_id), col(Flow.target_id)):
        found |= {
            tuple(row)
            for row in rows_of(
                session,
                select(
                    col(Flow.target_id), col(Flow.source_id), col(source.code), col(target.code),
                    col(Flow.grams), col(target.kind),
                )
                .join(source, col(source.id) == col(Flow.source_id))
                .join(target, col(target.id) == col(Flow.target_id))
                .where(among(session, column, ids))
                .where(col(target.voided_entry_id).is_(None)),
            )
        }  # fmt: skip
    return [row[2:] for row in sorted(found)]
