"""Reading the evidence of lots: what counts now, and all that was ever put on record."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.evidence.rules import FirmRole, Known, Named, OnFile
from app.green.evidence.schemas import PlotFileOut, StatementLine
from app.green.evidence.tables import DeliveryRole, DueDiligence, PlotFile, Statement
from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text
from app.standards.geolocation import hectares
from app.standards.handing_over import hand_over


def known_of(session: Session, lot_ids: Collection[int]) -> dict[int, Known]:
    """Gather what counts for each of these lots, in the order they came."""
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(GreenLot.name),
            col(GreenLot.origin),
            col(GreenLot.delivery_id),
            col(Delivery.code).label("delivery"),
            col(Supplier.name).label("supplier"),
            col(Supplier.address),
            col(Supplier.email),
            col(DeliveryRole.role),
            col(DeliveryRole.from_operator),
            col(PlotFile.id).label("file"),
            (col(PlotFile.points) + col(PlotFile.outlines)).label("plots"),
            col(PlotFile.area_m2),
            col(PlotFile.countries),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .outerjoin(DeliveryRole, col(DeliveryRole.id) == _latest_role())
        .outerjoin(PlotFile, and_(col(PlotFile.lot_id) == col(Unit.id), _counts()))
        .where(among(session, col(Unit.id), lot_ids))
        .order_by(col(Unit.id))
    )
    known = {
        row.id: Known(
            lot_id=row.id, lot=row.code, name=row.name, origin=row.origin, delivery=row.delivery,
            supplier=row.supplier, supplier_address=row.address, supplier_email=row.email,
            role=FirmRole(row.role) if row.role else None, from_operator=row.from_operator,
            plots=_on_file(row),
        )
        for row in rows
    }  # fmt: skip
    _add_records(session, known)
    return known


def _latest_role() -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    """Build the number of the latest word on the firm's role in a delivery: it stays."""
    role = aliased(DeliveryRole)
    return (
        select(func.max(col(role.id)))
        .where(col(role.delivery_id) == col(Delivery.id))
        .correlate(Delivery)
        .scalar_subquery()
    )


def _on_file(row: Any) -> OnFile | None:  # noqa: ANN401 - a row of `known_of`
    if row.file is None:
        return None
    return OnFile(row.file, row.plots, row.area_m2, _codes(row.countries))


def _codes(countries: str) -> list[str]:
    return countries.split(",") if countries else []


def _counts() -> ColumnElement[bool]:
    """Tell in a statement whether a plot file is its lot's newest, and not declared void since."""
    other = aliased(PlotFile)
    newest = (
        select(func.max(col(other.id)))
        .where(col(other.lot_id) == col(PlotFile.lot_id))
        .correlate(PlotFile)
        .scalar_subquery()
    )
    declared = (
        select(func.max(col(DueDiligence.entry_id)))
        .where(col(DueDiligence.lot_id) == col(PlotFile.lot_id))
        .where(col(DueDiligence.not_available).is_not(None))
        .correlate(PlotFile)
        .scalar_subquery()
    )
    since = or_(declared.is_(None), col(PlotFile.entry_id) > declared)
    return and_(col(PlotFile.id) == newest, since)


def _add_records(session: Session, known: dict[int, Known]) -> None:
    """Add what was said of each lot since its evidence was last declared not available."""
    rows = session.execute(
        select(DueDiligence, Statement)
        .outerjoin(Statement, col(Statement.due_diligence_id) == col(DueDiligence.id))
        .where(among(session, col(DueDiligence.lot_id), known))
        .order_by(col(DueDiligence.id), col(Statement.id))
    )
    for record, some in groupby(rows, key=lambda row: row.DueDiligence):
        before = known[record.lot_id]
        if record.not_available is not None:
            known[record.lot_id] = replace(
                before, not_available=record.not_available, hs_code=None, produced_from=None,
                produced_to=None, statements=(),
            )  # fmt: skip
            continue
        known[record.lot_id] = replace(
            before,
            hs_code=record.hs_code or before.hs_code,
            produced_from=record.produced_from or before.produced_from,
            produced_to=record.produced_to or before.produced_to,
            statements=_named(before.statements, [row.Statement for row in some if row.Statement]),
        )


def _named(before: Iterable[Named], said: Iterable[Statement]) -> Sequence[Named]:
    named = {each.reference: each for each in before}
    for each in said:
        if each.withdrawn:
            named.pop(each.reference, None)
        else:
            named[each.reference] = Named(
                each.reference, each.verification, each.own_reference, each.simplified
            )
    return list(named.values())


def _statements(session: Session, record_ids: Collection[int]) -> Mapping[int, list[Statement]]:
    rows = session.scalars(
        select(Statement)
        .where(among(session, col(Statement.due_diligence_id), record_ids))
        .order_by(col(Statement.id))
    )
    found: dict[int, list[Statement]] = {}
    for row in rows:
        found.setdefault(row.due_diligence_id, []).append(row)
    return found


def lots_under(session: Session, references: Collection[str]) -> Mapping[str, int]:
    """Count the lots for which each of these statements was ever named."""
    rows = session.execute(
        select(col(Statement.reference), func.count(col(DueDiligence.lot_id).distinct()))
        .join(DueDiligence, col(DueDiligence.id) == col(Statement.due_diligence_id))
        .where(col(Statement.reference).in_(references))
        .group_by(col(Statement.reference))
    )
    return {row[0]: row[1] for row in rows}


def counting_file(session: Session, lot_id: int) -> PlotFile | None:
    """Read the plot file that counts for a lot."""
    return session.scalars(
        select(PlotFile).where(col(PlotFile.lot_id) == lot_id, _counts())
    ).first()


def plots(session: Session, code: str) -> bytes:
    """Write the plots that count for a lot as they are handed over."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    filed = counting_file(session, lot.id)
    if filed is None:
        raise Refused("not-found", f"No plots are on file for lot {lot.code}.", lot=lot.code)
    origin = session.get_one(GreenLot, lot.id).origin
    return hand_over(filed.content.encode(), origin)


def given_file(session: Session, code: str, number: int) -> bytes:
    """Read a plot file as it was given."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    filed = session.get(PlotFile, number)
    if filed is None or filed.lot_id != lot.id:
        raise Refused("not-found", f"Lot {lot.code} has no plot file {number}.", lot=lot.code)
    return filed.content.encode()


def file_page(session: Session, page: Page, code: str) -> PageOf:
    """Read what plot files a lot ever had, oldest first."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    statement: AnySelect = (
        select(
            *(getattr(PlotFile, name) for name in _FILE_FACTS),
            _counts().label("counts"),
            col(Entry.recorded_at),
            col(Entry.who),
        )
        .join(Entry, col(Entry.id) == col(PlotFile.entry_id))
        .where(col(PlotFile.lot_id) == lot.id)
    )
    rows, following = turn_page(session, statement, col(PlotFile.id), page)
    return [
        file_out(row, lot.code, row.recorded_at, row.who, counts=bool(row.counts)).model_dump()
        for row in rows
    ], following


_FILE_FACTS = ("id", "sha256", "size_bytes", "points", "outlines", "area_m2", "countries")
"""Everything a list shows of a file; the file itself may be large."""


def file_out(
    filed: Any,  # noqa: ANN401 - a plot file, or a row of `file_page`
    lot: str,
    recorded_at: datetime,
    recorded_by: str,
    *,
    counts: bool,
) -> PlotFileOut:
    """Answer a plot file without its content."""
    return PlotFileOut(
        id=filed.id,
        lot=lot,
        sha256=filed.sha256,
        size_bytes=filed.size_bytes,
        plots=filed.points + filed.outlines,
        points=filed.points,
        outlines=filed.outlines,
        area_ha=hectares(filed.area_m2),
        countries=_codes(filed.countries),
        counts=counts,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )


def due_diligence_page(session: Session, page: Page, code: str) -> PageOf:
    """Read all that was said of a lot, oldest first."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    statement: AnySelect = (
        select(col(DueDiligence.id), DueDiligence, col(Entry.recorded_at), col(Entry.who))
        .join(Entry, col(Entry.id) == col(DueDiligence.entry_id))
        .where(col(DueDiligence.lot_id) == lot.id)
    )
    rows, following = turn_page(session, statement, col(DueDiligence.id), page)
    statements = _statements(session, [row.id for row in rows])
    return [
        {
            "id": row.id, "lot": lot.code, "hs_code": row.DueDiligence.hs_code,
            "statements": [
                StatementLine.model_validate(each, from_attributes=True).model_dump()
                for each in statements.get(row.id, [])
            ],
            "produced_from": row.DueDiligence.produced_from,
            "produced_to": row.DueDiligence.produced_to,
            "not_available": row.DueDiligence.not_available,
            "recorded_at": text(row.recorded_at), "recorded_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip
