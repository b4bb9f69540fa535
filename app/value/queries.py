"""Reading costs: as they were booked, of lots, and of any unit down to the bag."""

from functools import cache
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.tables import Delivery
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.tables import Pack
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.standards.costing import CostKind, shown, times
from app.value.flows import costs_of, green_use
from app.value.landed import Landed, landed_costs
from app.value.schemas import CostOut, CostShare, LandedOut, PartCost, UnitCostOut
from app.value.showing import amounts, of_mass, unpriced_g
from app.value.tables import CostLine, CostLineVoid


@cache
def _lines() -> AnySelect:
    return (
        select(
            col(CostLine.id),
            CostLine,
            col(Unit.code).label("lot"),
            col(Delivery.code).label("delivery"),
            col(Entry.happened_at),
            col(Entry.who),
            col(CostLineVoid.cost_line_id).is_not(None).label("voided"),
        )
        .join(Entry, col(Entry.id) == col(CostLine.entry_id))
        .outerjoin(Unit, col(Unit.id) == col(CostLine.lot_id))
        .outerjoin(Delivery, col(Delivery.id) == col(CostLine.delivery_id))
        .outerjoin(CostLineVoid, col(CostLineVoid.cost_line_id) == col(CostLine.id))
    )


def _line_out(row: Any) -> CostOut:  # noqa: ANN401 - a row of `_lines`
    line: CostLine = row.CostLine
    return CostOut(
        id=line.id, lot=row.lot, delivery=row.delivery, kind=CostKind(line.kind),
        amount=line.amount, price=line.price, price_unit=line.price_unit, currency=line.currency,
        note=line.note, happened_at=row.happened_at, who=row.who, voided=row.voided,
        entry=line.entry_id,
    )  # fmt: skip


def cost_out(session: Session, number: int) -> CostOut:
    """Show one cost."""
    return _line_out(session.execute(_lines().where(col(CostLine.id) == number)).one())


def cost_page(session: Session, page: Page, lot: str | None, delivery: str | None) -> PageOf:
    """Read costs in the order they were booked, voided ones too."""
    statement = _lines()
    if lot is not None:
        statement = statement.where(col(Unit.id) == unit_by_code(session, lot, UnitKind.LOT).id)
    if delivery is not None:
        statement = statement.where(col(Delivery.code) == delivery.upper())
    rows, following = turn_page(session, statement, col(CostLine.id), page)
    return [_line_out(row).model_dump(by_alias=True) for row in rows], following


def landed(session: Session, code: str) -> LandedOut:
    """Show what a lot cost until it was there."""
    lot = live(unit_by_code(session, code, UnitKind.LOT))
    found = landed_costs(session, [lot.id])[lot.id]
    return LandedOut.model_validate({
        "lot": lot.code, "net_landed_g": found.net_g, "purchase_from": found.purchase_from,
        "weight_basis": found.basis, "costs": of_mass(found.money, found.net_g),
        "parts": _parts(found), "unpriced_g": unpriced_g(found.money),
    })  # fmt: skip


def _parts(found: Landed) -> list[CostShare]:
    return [
        CostShare(
            cost=part.number, kind=part.kind, currency=part.currency,
            amount=shown(part.amount, 4), of_delivery=part.of_delivery, note=part.note,
        )
        for part in found.parts
    ]  # fmt: skip


def unit_cost(session: Session, code: str, settings: Settings) -> UnitCostOut:
    """Show what a unit cost, and what each thing that went into it did."""
    unit = live(unit_by_code(session, code))
    used = green_use(session, settings, None)
    known = costs_of(session, [unit.id], settings, used)
    money = times(known.per_gram[unit.id], unit.made_g)
    bags = session.scalar(select(col(Pack.bags)).where(col(Pack.unit_id) == unit.id))
    green = used.into.get(unit.id)
    parts = [
        PartCost(
            unit=known.units[source].code,
            kind=known.units[source].kind,
            grams=grams,
            costs=amounts(times(known.per_gram[source], grams)),
        )
        for source, grams in known.flows.get(unit.id, [])
        if green is None or known.units[source].kind != UnitKind.SACK
    ]
    return UnitCostOut(
        unit=unit.code, kind=UnitKind(unit.kind), method=settings.cost_method,
        made_g=unit.made_g, bags=bags, costs=of_mass(money, unit.made_g),
        per_bag=amounts({each: money[each] / bags for each in money}, 4) if bags else [],
        unpriced_green_g=unpriced_g(money), parts=parts,
    )  # fmt: skip
