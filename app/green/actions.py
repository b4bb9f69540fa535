"""Receiving green coffee."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sqlalchemy import func, insert, select
from sqlmodel import SQLModel, col

from app.green.identity import actions as identity
from app.green.identity.actions import Received, Settled
from app.green.identity.rules import Papers
from app.green.readings.alarms import raise_alarms
from app.green.readings.tables import Reading, ReadingKind
from app.green.schemas import (
    DeliveryIn,
    DeliveryOut,
    LotIn,
    LotReceived,
    SackBrief,
    SupplierOut,
)
from app.green.tables import Delivery, GreenLot, Supplier
from app.ledger.actions import place_hold
from app.ledger.cards import Shelf, named
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.tables import Unit, UnitKind
from app.places.actions import locate, place
from app.places.cautions import lifted_high
from app.places.tables import Location
from app.shared.codes import issue
from app.shared.db import batched
from app.standards.ico_marks import coffee_year_label

SUPPLIERS = Shelf(
    "supplier", Supplier, SupplierOut, key="name", folded="name_key",
    private=frozenset({"address", "email", "web"}),
)  # fmt: skip

ARRIVAL = "arrived: count, weigh, inspect and measure, then release"
"""The reason of the hold that new lots start with."""


@dataclass
class ArrivedLot:
    """A lot on its way into the book, with its sacks."""

    asked: LotIn
    lot: Birth
    sacks: list[Birth] = field(default_factory=list)

    def received_g(self) -> int:
        """What its sacks weigh together."""
        return self.lot.made_g


def receive(pen: Pen, asked: DeliveryIn) -> DeliveryOut:
    """Book an arrival: every lot is born whole and goes into its sacks at once."""
    supplier = named(pen.session, SUPPLIERS, asked.supplier, "#/supplier")
    places = _places(pen, asked)
    at = pen.moment(asked.received_at, "#/received_at")
    settled = identity.settle(pen, asked.lots, at)
    posting = Posting("delivery", at, asked.model_dump(mode="json"))
    arrived = [bear_lot(pen, posting, lot, places) for lot in asked.lots]
    entry_id = pen.post(posting)
    delivery = write_delivery(pen, entry_id, supplier.id, asked.reference)
    measured = {each.lot.id: write_lot(pen, entry_id, delivery, each) for each in arrived}
    record_papers(pen, arrived, settled)
    units = {each.lot.id: pen.session.get_one(Unit, each.lot.id) for each in arrived}
    if pen.settings.hold_on_arrival:
        place_hold(pen, entry_id, list(units.values()), ARRIVAL)
    held = {unit_id for unit_id in units if pen.settings.hold_on_arrival}
    for unit_id, moisture in measured.items():
        alarms = raise_alarms(pen, moisture, units[unit_id]) if moisture else []
        held |= {unit_id for alarm in alarms if alarm.hold is not None}
    names = {location.id: location.code for location in places.values()}
    return DeliveryOut(
        code=delivery.code,
        supplier=supplier.name,
        reference=asked.reference,
        received_at=at,
        lots=[
            _received(each, names, papers, held=each.lot.id in held)
            for each, (papers, *_) in zip(arrived, settled, strict=True)
        ],
        cautions=lifted_high(pen.session, pen.settings, _put_away(arrived)),
    )


def _put_away(arrived: list[ArrivedLot]) -> Iterator[tuple[str, int, int]]:
    """Name the sacks that were put somewhere: code, grams, place."""
    for lot in arrived:
        for sack in lot.sacks:
            if sack.location_id is not None:
                yield sack.code, sack.made_g, sack.location_id


def _places(pen: Pen, asked: DeliveryIn) -> dict[str, Location]:
    found: dict[str, Location] = {}
    for i, lot in enumerate(asked.lots):
        for j, sacks in enumerate(lot.sacks):
            if sacks.location is not None and sacks.location not in found:
                pointer = f"#/lots/{i}/sacks/{j}/location"
                found[sacks.location] = locate(pen, sacks.location, pointer)
    return found


def bear_lot(pen: Pen, posting: Posting, asked: LotIn, places: dict[str, Location]) -> ArrivedLot:
    """Let a lot and its sacks be born: the lot flows into its sacks and is used up by that."""
    whole_g = sum(sacks.net_g * (sacks.count or 1) for sacks in asked.sacks)
    arrived = ArrivedLot(asked, pen.bear(posting, UnitKind.LOT, asked.code, whole_g))
    for sacks in asked.sacks:
        location_id = places[sacks.location].id if sacks.location else None
        for _ in range(sacks.count or 1):
            sack = pen.bear(posting, UnitKind.SACK, sacks.code, sacks.net_g, location_id)
            posting.flow(arrived.lot.id, sack, sacks.net_g)
            arrived.sacks.append(sack)
    return arrived


def write_delivery(
    pen: Pen, entry_id: int, supplier_id: int | None, reference: str | None
) -> Delivery:
    """Record the delivery of an entry."""
    last: int = pen.session.scalar(select(func.max(col(Delivery.id)))) or 0
    delivery = Delivery(
        id=last + 1,
        code=issue("A", last + 1),
        supplier_id=supplier_id,
        reference=reference,
        entry_id=entry_id,
    )
    pen.session.add(delivery)
    pen.session.flush()  # lots refer to it
    return delivery


def write_lot(
    pen: Pen, entry_id: int, delivery: Delivery, arrived: ArrivedLot, **more: str | None
) -> Reading | None:
    """Record what is known of a lot and its sacks, where they stand and their moisture."""
    asked = arrived.asked
    pen.session.execute(insert(GreenLot).values(
        unit_id=arrived.lot.id, delivery_id=delivery.id, name=asked.name, origin=asked.origin,
        crop_year=asked.crop_year, process=asked.process, ico_mark=asked.ico_mark,
        advised_g=asked.advised_g, certificate=asked.certificate, note=asked.note,
        **identity.columns(asked), **more,
    ))  # fmt: skip
    sack_table = SQLModel.metadata.tables["sack"]  # an insert by class takes twice as long
    for some in batched(_sack_rows(arrived), 5000):
        pen.session.execute(insert(sack_table), some)
    standing: dict[int, list[int]] = {}
    for sack in arrived.sacks:
        if sack.location_id is not None:
            standing.setdefault(sack.location_id, []).append(sack.id)
    for location_id, sacks in standing.items():
        place(pen, entry_id, sacks, location_id)
    if asked.moisture_pct is None:
        return None
    moisture = Reading(
        unit_id=arrived.lot.id, kind=ReadingKind.MOISTURE, entry_id=entry_id,
        value_milli=int(asked.moisture_pct * 1000),
    )  # fmt: skip
    pen.session.add(moisture)
    pen.session.flush()  # the database numbers the reading
    return moisture


def record_papers(pen: Pen, arrived: Sequence[ArrivedLot], settled: Sequence[Settled]) -> None:
    """Record what the papers of lots mean, once all of the lots are written."""
    identity.record(pen, [
        Received(each.lot.id, each.lot.code, papers)
        for each, papers in zip(arrived, settled, strict=True)
    ])  # fmt: skip


def _sack_rows(arrived: ArrivedLot) -> Iterator[dict[str, object]]:
    conditions = [sacks.condition for sacks in arrived.asked.sacks for _ in range(sacks.count or 1)]
    for number, (sack, condition) in enumerate(zip(arrived.sacks, conditions, strict=True), 1):
        yield {
            "unit_id": sack.id, "lot_id": arrived.lot.id, "number": number,
            "condition": condition,
        }  # fmt: skip


def _received(
    arrived: ArrivedLot, names: dict[int | None, str], papers: Papers, *, held: bool
) -> LotReceived:
    asked, received_g = arrived.asked, arrived.received_g()
    return LotReceived(
        code=arrived.lot.code,
        name=asked.name,
        received_g=received_g,
        advised_g=asked.advised_g,
        difference_g=None if asked.advised_g is None else received_g - asked.advised_g,
        held=held,
        mark=papers.mark.canonical if papers.mark else None,
        coffee_year=coffee_year_label(papers.coffee_year),
        coffee_year_from=papers.year_from,
        sacks=[
            SackBrief(code=sack.code, net_g=sack.made_g, location=names.get(sack.location_id))
            for sack in arrived.sacks
        ],
    )


def supplier_id(pen: Pen, name: str) -> int:
    """Find a supplier by name, entering it when it is new."""
    key = SUPPLIERS.fold(name)
    # Not `find`, which takes a name of digits for the number of another supplier's card.
    known = pen.session.scalars(select(Supplier).where(col(Supplier.name_key) == key)).first()
    if known is None:
        known = Supplier(name=name, name_key=key)
        pen.session.add(known)
        pen.session.flush()  # the database numbers the card
    assert known.id is not None  # noqa: S101 - flushed
    return known.id
