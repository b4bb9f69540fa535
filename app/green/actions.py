"""Receiving green coffee."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlalchemy import insert, select
from sqlmodel import col

from app.green import queries
from app.green.arrivals.checks import delivery_check
from app.green.arrivals.holds import ARRIVAL, DELIVERY, WET, hold_apart
from app.green.contracts.shelf import CONTRACTS
from app.green.contracts.tables import PurchaseContract
from app.green.identity import actions as identity
from app.green.identity.actions import Received, Settled
from app.green.identity.rules import Papers
from app.green.readings.alarms import raise_alarms
from app.green.readings.tables import Reading, ReadingKind
from app.green.replacing import replaced_lots, successors, undo_lots
from app.green.schemas import (
    DeliveryIn,
    DeliveryOut,
    LotIn,
    LotReceived,
    SackBrief,
    SupplierOut,
)
from app.green.tables import Condition, Delivery, GreenLot, Sack, Supplier
from app.green.weights import Weights
from app.ledger.actions import place_hold
from app.ledger.cards import Shelf, named
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.tables import Unit, UnitKind
from app.places.actions import locate, place
from app.places.cautions import lifted_high
from app.places.successors import follow
from app.places.tables import Location
from app.shared.codes import issue
from app.shared.days import day_of
from app.shared.db import next_number
from app.shared.problems import FieldRefused
from app.standards.ico_marks import coffee_year_label

SUPPLIERS = Shelf(
    "supplier", Supplier, SupplierOut, key="name", folded="name_key",
    private=frozenset({"address", "email", "web"}),
)  # fmt: skip


@dataclass
class ArrivedLot:
    """A lot on its way into the book, with its sacks."""

    asked: LotIn
    lot: Birth
    sacks: list[Birth] = field(default_factory=list)
    """The sweepings last, where there are any."""

    def received_g(self) -> int:
        """What its sacks weigh together."""
        return self.lot.made_g

    def described(self) -> Iterator[tuple[Birth, Condition, Weights]]:
        """Name each sack with how it came and what the scale said of it."""
        said: list[tuple[Condition, Weights]] = []
        for group in self.asked.sacks:
            weights = group.weights(self.asked.tare_sample)
            said += [(Condition(group.condition), weights)] * (group.count or 1)
        if self.asked.sweepings_g is not None:
            said.append((Condition.SWEEPINGS, Weights(self.asked.sweepings_g)))
        for sack, (condition, weights) in zip(self.sacks, said, strict=True):
            yield sack, condition, weights


def receive(pen: Pen, asked: DeliveryIn) -> DeliveryOut:
    """Book an arrival: every lot is born whole and goes into its sacks at once.

    Booked in the place of a mistaken delivery, or of one lot of it, it voids that in its entry.
    Readings, samples, inspections and papers stay with the old codes.

    Raises:
        Refused: `mark-taken`, `over-capacity`; for what is corrected `voided`, `has-dependants`.
    """
    supplier = named(pen.session, SUPPLIERS, asked.supplier, "#/supplier")
    contract = _contract(pen, asked, supplier)
    places = _places(pen, asked)
    at = pen.moment(asked.received_at, "#/received_at")
    gone = replaced_lots(pen.session, asked)
    settled = identity.settle(pen, asked.lots, at, {each.lot.id for each in gone})
    posting = Posting(DELIVERY, at, asked.model_dump(mode="json"))
    undo_lots(pen, posting, gone, asked.correction_reason)
    arrived = [bear_lot(pen, posting, lot, places) for lot in asked.lots]
    entry_id = pen.post(posting)
    delivery = write_delivery(
        pen, entry_id, supplier.id, asked.reference,
        contract_id=contract.id if contract else None, discharged_on=asked.discharged_on,
    )  # fmt: skip
    measured = {each.lot.id: write_lot(pen, entry_id, delivery, each) for each in arrived}
    record_papers(pen, arrived, settled)
    held = _hold(pen, entry_id, arrived, measured)
    cautions = lifted_high(pen.session, pen.settings, _put_away(arrived))
    pen.session.flush()  # what follows reads what was written
    if gone:
        by = successors(gone, [(each.lot, each.sacks) for each in arrived])
        follow(pen, posting, entry_id, by)
        booked = queries.delivery(pen.session, delivery.code, pen.settings)
        return booked.model_copy(update={"cautions": cautions})
    names = {location.id: location.code for location in places.values()}
    return DeliveryOut(
        code=delivery.code,
        supplier=supplier.name,
        reference=asked.reference,
        received_at=at,
        contract=contract.reference if contract else None,
        discharged_on=asked.discharged_on,
        closed_at=None,
        closed_by=None,
        check=delivery_check(pen.session, delivery, pen.settings),
        lots=[
            _received(each, names, papers, held=each.lot.id in held)
            for each, (papers, *_) in zip(arrived, settled, strict=True)
        ],
        cautions=cautions,
    )


def _put_away(arrived: list[ArrivedLot]) -> Iterator[tuple[str, int, int]]:
    """Name the sacks that were put somewhere: code, grams, place."""
    for lot in arrived:
        for sack in lot.sacks:
            if sack.location_id is not None:
                yield sack.code, sack.made_g, sack.location_id


def _contract(pen: Pen, asked: DeliveryIn, supplier: Supplier) -> PurchaseContract | None:
    """Find the contract that a delivery comes under, and refuse what cannot belong to it."""
    if asked.discharged_on is not None and asked.discharged_on > day_of(pen.now):
        raise FieldRefused(
            "#/discharged_on", f"{asked.discharged_on} lies ahead of the server's day"
        )
    if asked.contract is None:
        return None
    contract = named(pen.session, CONTRACTS, asked.contract, "#/contract")
    if contract.supplier_id != supplier.id:
        other = pen.session.get_one(Supplier, contract.supplier_id).name
        raise FieldRefused(
            "#/contract",
            f"contract {contract.reference} is with {other}, and this comes from {supplier.name}",
        )
    return contract


def _hold(
    pen: Pen,
    entry_id: int,
    arrived: list[ArrivedLot],
    measured: Mapping[int, Reading | None],
) -> set[int]:
    """Let lots wait for the work on them, and sacks apart from them for a decision of their own.

    Returns the lots that are held, by their arrival or by an alarm of their moisture.
    """
    units = {each.lot.id: pen.session.get_one(Unit, each.lot.id) for each in arrived}
    held: set[int] = set()
    if pen.settings.hold_on_arrival:
        place_hold(pen, entry_id, list(units.values()), ARRIVAL)
        held |= units.keys()
    for unit_id, moisture in measured.items():
        alarms = raise_alarms(pen, moisture, units[unit_id]) if moisture else []
        held |= {unit_id for alarm in alarms if alarm.hold is not None}
    for each in arrived:
        described = list(each.described())
        hold_apart(
            pen, entry_id,
            wet=[sack.id for sack, condition, _ in described if condition in WET],
            swept=[sack.id for sack, condition, _ in described if condition is Condition.SWEEPINGS],
        )  # fmt: skip
    return held


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
    weighed = [(sacks, sacks.weights(asked.tare_sample).net_g) for sacks in asked.sacks]
    whole_g = sum(net_g * (sacks.count or 1) for sacks, net_g in weighed)
    whole_g += asked.sweepings_g or 0
    arrived = ArrivedLot(asked, pen.bear(posting, UnitKind.LOT, asked.code, whole_g))
    for sacks, net_g in weighed:
        location_id = places[sacks.location].id if sacks.location else None
        for _ in range(sacks.count or 1):
            arrived.sacks.append(pen.bear(posting, UnitKind.SACK, sacks.code, net_g, location_id))
    if asked.sweepings_g is not None:
        arrived.sacks.append(pen.bear(posting, UnitKind.SACK, None, asked.sweepings_g))
    for sack in arrived.sacks:
        posting.flow(arrived.lot.id, sack, sack.made_g)
    return arrived


def write_delivery(
    pen: Pen,
    entry_id: int,
    supplier_id: int | None,
    reference: str | None,
    *,
    contract_id: int | None = None,
    discharged_on: date | None = None,
) -> Delivery:
    """Record the delivery of an entry."""
    number = next_number(pen.session, col(Delivery.id))
    delivery = Delivery(
        id=number,
        code=issue("A", number),
        supplier_id=supplier_id,
        reference=reference,
        entry_id=entry_id,
        contract_id=contract_id,
        discharged_on=discharged_on,
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
        shipped_g=asked.shipped_g, invoiced_sacks=asked.invoiced_sacks,
        tare_empties=asked.tare_sample.empties if asked.tare_sample else None,
        tare_sample_g=asked.tare_sample.sample_g if asked.tare_sample else None,
        **identity.columns(asked), **more,
    ))  # fmt: skip
    pen.write(Sack, _sack_rows(arrived))
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
    for number, (sack, condition, weights) in enumerate(arrived.described(), 1):
        yield {
            "unit_id": sack.id, "lot_id": arrived.lot.id, "number": number,
            "condition": condition, "gross_g": weights.gross_g, "tare_g": weights.tare_g,
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
        shipped_g=asked.shipped_g,
        invoiced_sacks=asked.invoiced_sacks,
        sweepings_g=asked.sweepings_g,
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
