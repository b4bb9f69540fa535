"""Reading green coffee: deliveries, lots, sacks, readings."""

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Integer, bindparam, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.arrivals.checklist import arrivals_of
from app.green.arrivals.checks import delivery_check
from app.green.arrivals.receipts import closing
from app.green.certificates.queries import certified_by, claims_of_lots
from app.green.condition.queries import lot_moistures
from app.green.contracts.tables import PurchaseContract
from app.green.identity.queries import identity, marked, of_crop, papers_of, shipment_mates
from app.green.reservations.queries import reserved_of
from app.green.rules import stock_of
from app.green.schemas import DeliveryOut, LotOut, LotReceived, SackBrief, SackOut
from app.green.tables import Condition, Delivery, GreenLot, Sack, Supplier
from app.ledger.cards import card_at
from app.ledger.queries import on_hold, unit_by_code, unknown
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.tables import Location
from app.places.tree import below
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, paged, turn, turn_page
from app.shared.problems import Refused
from app.shared.times import text
from app.standards.countries import country_name
from app.standards.handling import sack_caution
from app.standards.ico_marks import coffee_year_label


@cache
def _lots() -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.made_g),
            col(Unit.voided_entry_id),
            GreenLot,
            on_hold(col(Unit.id)).label("held"),
            col(Delivery.code).label("delivery"),
            col(Supplier.name).label("supplier"),
            col(Entry.happened_at),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
    )


def lot(session: Session, code: str, settings: Settings, *, prices: bool) -> LotOut:
    """Read one lot with its stock."""
    unit = unit_by_code(session, code, UnitKind.LOT)
    row = session.execute(_lots().where(col(Unit.id) == unit.id)).one()
    return _lot_out(session, [row], settings, prices=prices)[0]


class Wanted(NamedTuple):
    """Which lots a list is to show; None asks for nothing."""

    origin: str | None
    on_hand: bool | None
    ico_mark: str | None
    crop_year: str | None
    certificate: str | None


def lot_page(
    session: Session, page: Page, wanted: Wanted, settings: Settings, *, prices: bool
) -> PageOf:
    """Read lots in the order they came, with their stock."""
    statement = _lots()
    if wanted.origin is not None:
        statement = statement.where(col(GreenLot.origin) == wanted.origin)
    if wanted.ico_mark is not None:
        statement = statement.where(marked(wanted.ico_mark))
    if wanted.crop_year is not None:
        statement = statement.where(of_crop(wanted.crop_year))
    if wanted.certificate is not None:
        statement = statement.where(certified_by(session, wanted.certificate))
    if wanted.on_hand is not None:
        sack = aliased(Unit)
        left = (
            select(col(Sack.lot_id))
            .join(sack, col(sack.id) == col(Sack.unit_id))
            .where(col(sack.left_g) > 0)
        )
        there = col(Unit.id).in_(left)
        statement = statement.where(there if wanted.on_hand else ~there)
    rows, following = turn_page(session, statement, col(Unit.id), page)
    found = _lot_out(session, rows, settings, prices=prices)
    return [each.model_dump(by_alias=True) for each in found], following


def _lot_out(
    session: Session,
    rows: Any,  # noqa: ANN401 - rows of `_lots`
    settings: Settings,
    *,
    prices: bool,
) -> list[LotOut]:
    ids = [row.id for row in rows]
    stock, reserved = _stock(session, ids), reserved_of(session, ids)
    moisture = lot_moistures(session, ids, settings)
    claims, mates = claims_of_lots(session, ids), shipment_mates(session, ids)
    arrivals = arrivals_of(session, ids)
    lots = []
    for row in rows:
        known: GreenLot = row.GreenLot
        sacks = stock.get(row.id, [])
        left = stock_of(sacks, lot_held=row.held, reserved_g=reserved.get(row.id, 0))
        voided = row.voided_entry_id is not None
        lots.append(LotOut(
            code=row.code, supplier=row.supplier, delivery=row.delivery,
            received_at=row.happened_at, held=row.held, sack_count=len(sacks), voided=voided,
            received_g=row.made_g, on_hand_g=left.on_hand_g, available_g=left.available_g,
            held_g=left.held_g, reserved_g=left.reserved_g, reserved_short_g=left.reserved_short_g,
            sacks_on_hand=left.sacks_on_hand, latest_moisture_pct=moisture[row.id].value_pct,
            moisture=moisture[row.id],
            name=known.name, origin=known.origin, origin_name=country_name(known.origin),
            **identity(known, row.happened_at, settings), crop_year=known.crop_year,
            same_shipment_as=mates.get(row.id), claims=claims[row.id],
            process=known.process, ico_mark=known.ico_mark, certificate=known.certificate,
            note=known.note, advised_g=known.advised_g,
            cost_per_kg=Decimal(known.cost_per_kg) if prices and known.cost_per_kg else None,
            currency=known.currency if prices else None, arrival=arrivals.get(row.id),
        ))  # fmt: skip
    return lots


def _stock(session: Session, lot_ids: list[int]) -> Mapping[int, list[tuple[int, bool]]]:
    found: dict[int, list[tuple[int, bool]]] = {}
    rows = session.execute(
        select(col(Sack.lot_id), col(Unit.left_g), on_hold(col(Unit.id)))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .where(col(Sack.lot_id).in_(lot_ids))
    )
    for lot_id, left_g, held in rows:
        found.setdefault(lot_id, []).append((left_g, held))
    return found


def delivery(session: Session, code: str, settings: Settings) -> DeliveryOut:
    """Read one delivery with its lots and sacks as they arrived, against its contract."""
    row = session.execute(
        select(
            Delivery,
            col(Supplier.name),
            col(Entry.happened_at),
            col(PurchaseContract.reference).label("contract"),
        )
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .outerjoin(PurchaseContract, col(PurchaseContract.id) == col(Delivery.contract_id))
        .where(col(Delivery.code) == code.upper())
    ).first()
    if row is None:
        raise Refused("not-found", f"There is no delivery {code}.")
    known: Delivery = row.Delivery
    assert known.id is not None  # noqa: S101 - read from the database
    lots = session.execute(
        _lots().where(col(GreenLot.delivery_id) == known.id).order_by(col(Unit.id))
    ).all()
    sacks = _sacks_of(session, [each.id for each in lots])
    closed = closing(session, known.id)
    return DeliveryOut(
        code=known.code,
        supplier=row.name,
        reference=known.reference,
        received_at=row.happened_at,
        contract=row.contract,
        discharged_on=known.discharged_on,
        closed_at=closed.recorded_at if closed else None,
        closed_by=closed.who if closed else None,
        check=delivery_check(session, known, settings),
        lots=[_arrived(each, sacks.get(each.id, [])) for each in lots],
    )


def _sacks_of(session: Session, lot_ids: list[int]) -> Mapping[int, list[Any]]:
    """Read the sacks of lots as they arrived, in the order of their numbers."""
    rows = session.execute(
        select(
            col(Sack.lot_id),
            col(Unit.code),
            col(Unit.made_g),
            col(Sack.condition),
            col(Location.code).label("place"),
        )
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(col(Sack.lot_id).in_(lot_ids))
        .order_by(col(Sack.lot_id), col(Sack.number))
    )
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(row.lot_id, []).append(row)
    return found


def _arrived(row: Any, sacks: list[Any]) -> LotReceived:  # noqa: ANN401 - a row of `_lots`
    advised_g = row.GreenLot.advised_g
    papers = papers_of(row.GreenLot, row.happened_at)
    swept = [s.made_g for s in sacks if s.condition == Condition.SWEEPINGS]
    return LotReceived(
        code=row.code,
        name=row.GreenLot.name,
        received_g=row.made_g,
        advised_g=advised_g,
        difference_g=None if advised_g is None else row.made_g - advised_g,
        shipped_g=row.GreenLot.shipped_g,
        invoiced_sacks=row.GreenLot.invoiced_sacks,
        sweepings_g=sum(swept) if swept else None,
        held=row.held,
        voided=row.voided_entry_id is not None,
        mark=papers.mark.canonical if papers.mark else None,
        coffee_year=coffee_year_label(papers.coffee_year),
        coffee_year_from=papers.year_from,
        sacks=[SackBrief(code=s.code, net_g=s.made_g, location=s.place) for s in sacks],
    )


def delivery_page(session: Session, page: Page) -> PageOf:
    """Read deliveries in the order they were booked."""
    statement = (
        select(
            col(Delivery.id),
            col(Delivery.code),
            col(Delivery.reference),
            col(Supplier.name),
            col(Entry.happened_at),
        )
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
    )
    rows, following = turn_page(session, statement, col(Delivery.id), page)
    lots: dict[int, list[str]] = {}
    for delivery_id, code in session.execute(
        select(col(GreenLot.delivery_id), col(Unit.code))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .where(col(GreenLot.delivery_id).in_([row.id for row in rows]))
        .order_by(col(Unit.id))
    ):
        lots.setdefault(delivery_id, []).append(code)
    return [
        {
            "code": row.code, "supplier": row.name, "reference": row.reference,
            "received_at": text(row.happened_at), "lots": lots.get(row.id, []),
        }
        for row in rows
    ], following  # fmt: skip


@cache
def _sacks() -> AnySelect:
    lot_unit = aliased(Unit)
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(lot_unit.code).label("lot"),
            col(Sack.number),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Location.code).label("place"),
            on_hold(col(Unit.id)).label("held"),
            col(Sack.condition),
            col(Sack.gross_g),
            col(Sack.tare_g),
            col(Unit.voided_entry_id),
        )
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(lot_unit, col(lot_unit.id) == col(Sack.lot_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
    )


@cache
def _sack() -> AnySelect:
    return _sacks().where(col(Unit.code) == bindparam("code"))


@cache
def _sacks_asked(of_lot: bool, at_place: bool, on_hand: bool | None) -> AnySelect:
    statement = _sacks()
    if of_lot:
        statement = statement.where(col(Sack.lot_id) == bindparam("lot"))
    if at_place:
        parts = below(bindparam("whole", type_=Integer())).c.id
        statement = statement.where(col(Unit.location_id).in_(select(parts)))
    if on_hand is not None:
        statement = statement.where(col(Unit.left_g) > 0 if on_hand else col(Unit.left_g) == 0)
    return paged(statement, col(Unit.id))


def _sack_line(row: Any) -> dict[str, object]:  # noqa: ANN401 - a row of `_sacks`
    return {
        "code": row.code, "lot": row.lot, "number": row.number,
        "net_kg": kg_from_grams(row.made_g), "on_hand_kg": kg_from_grams(row.left_g),
        "location": row.place, "held": bool(row.held), "condition": row.condition,
        "gross_kg": None if row.gross_g is None else kg_from_grams(row.gross_g),
        "tare_kg": None if row.tare_g is None else kg_from_grams(row.tare_g),
        "voided": row.voided_entry_id is not None,
    }  # fmt: skip


def sack(session: Session, code: str, heavy_over_g: int) -> SackOut:
    """Read one sack."""
    row = session.connection().execute(_sack(), {"code": code}).first()
    if row is None:
        unit_by_code(session, code, UnitKind.SACK)  # says what is amiss with the code
        raise unknown(code)
    return SackOut(
        code=row.code,
        lot=row.lot,
        number=row.number,
        net_g=row.made_g,
        on_hand_g=row.left_g,
        location=row.place,
        held=row.held,
        condition=row.condition,
        gross_g=row.gross_g,
        tare_g=row.tare_g,
        voided=row.voided_entry_id is not None,
        caution=sack_caution(row.left_g, heavy_over_g),
    )


def sack_page(
    session: Session,
    page: Page,
    lot_code: str | None,
    place: str | None,
    on_hand: bool | None,
    *,
    heavy_over_g: int,
) -> PageOf:
    """Read sacks in the order they came."""
    values: dict[str, int | None] = {}
    if lot_code is not None:
        values["lot"] = unit_by_code(session, lot_code, UnitKind.LOT).id
    if place is not None:
        values["whole"] = card_at(session, LOCATIONS, place).id
    statement = _sacks_asked("lot" in values, "whole" in values, on_hand)
    rows, following = turn(session, statement, col(Unit.id), page, **values)
    return [
        _sack_line(row) | {"caution": sack_caution(row.left_g, heavy_over_g)} for row in rows
    ], following
