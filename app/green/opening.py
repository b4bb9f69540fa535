"""Opening stock: taking over the lots that were there before the book was.

Whether a row is in the book already is judged by what the journal says, which is never changed:
the entry that brought a lot keeps every field of its row in one form (`StockRow.said`), so `60`
and `60.000` are equal, an added note is not, and a sack that was moved or roasted meanwhile
changes nothing. A lot that came in by a delivery is never equal to a row.
"""

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.actions import bear_lot, record_papers, supplier_id, write_delivery, write_lot
from app.green.identity.actions import Settled, papers_of_asked
from app.green.identity.queries import carriers
from app.green.schemas import OpeningLot, SacksIn, StockFileIn, TakenOver
from app.green.stock_file import (
    Limits,
    RefusedRow,
    StockFile,
    StockFileError,
    StockRow,
    read_stock_file,
)
from app.ledger.posting import Pen, Posting
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.capacity import Room, why_not
from app.places.tables import Location
from app.settings import Settings
from app.shared.days import day_of
from app.shared.db import batched
from app.shared.mass import kg_from_grams
from app.shared.problems import FieldRefused
from app.shared.times import now
from app.standards.ico_marks import Mark, coffee_year, coffee_year_label, parse_mark

OPENING: Final = "opening stock"
"""The kind of the entry that brings a lot of a stock file."""


class Parcels(NamedTuple):
    """Lots with one mark in one coffee year: of new rows, or of new rows and the book."""

    mark: str
    coffee_year: str
    lots: list[str]


@dataclass
class Sorted:
    """The rows of a stock file, held against the book."""

    new: list[StockRow] = field(default_factory=list)
    there: list[StockRow] = field(default_factory=list)
    """In the book already, with the same content."""
    refused: list[RefusedRow] = field(default_factory=list)
    places: dict[str, Location] = field(default_factory=dict)
    """The locations that rows name, by code."""
    parcels: list[Parcels] = field(default_factory=list)
    """Shipments that stand on the racks as more than one lot."""


@dataclass(frozen=True)
class _Known:
    """What the book says of a code."""

    kind: UnitKind
    voided: bool
    said: Mapping[str, object] | None
    """The row it came from; None when it came another way."""


def limits_of(settings: Settings, lightest_g: int, heaviest_g: int) -> Limits:
    """Say what rows are held against now."""
    return Limits(now() + timedelta(minutes=settings.ahead_minutes), lightest_g, heaviest_g)


def sort_sheet(session: Session, sheet: StockFile) -> Sorted:
    """Sort the rows of a file; what the file itself refuses is among the refused, by line."""
    found = sort_rows(session, sheet.rows)
    found.refused = sorted([*sheet.refused, *found.refused], key=lambda row: row.line)
    return found


def sort_asked(session: Session, asked: StockFileIn, settings: Settings) -> Sorted:
    """Sort the rows of a file that somebody sent.

    Raises:
        FieldRefused: when it cannot be read as a stock file.
    """
    limits = limits_of(settings, asked.lightest_g, asked.heaviest_g)
    try:
        sheet = read_stock_file(asked.file.encode(), limits)
    except StockFileError as error:
        raise FieldRefused("#/file", str(error)) from error
    return sort_sheet(session, sheet)


def take_over(pen: Pen, asked: StockFileIn) -> TakenOver:
    """Book the new rows of a file, all of them or none, an entry for each lot.

    Raises:
        FieldRefused: when rows are refused and are not to be left out, or none is new.
    """
    found = sort_asked(pen.session, asked, pen.settings)
    if found.refused and not asked.skip_refused:
        first = found.refused[0]
        said = f"{len(found.refused)} rows are refused, the first: {first}"
        raise FieldRefused("#/file", said)
    if not found.new:
        raise FieldRefused("#/file", "no row is new: there is nothing to book")
    for row in found.new:
        enter(pen, row, found.places)
    return TakenOver(
        lots=len(found.new),
        sacks=sum(row.sacks for row in found.new),
        grams=sum(row.whole_g for row in found.new),
        there=len(found.there),
        refused=len(found.refused),
    )


def sort_rows(session: Session, rows: Collection[StockRow]) -> Sorted:
    """Tell rows that are new from those the book holds already and those it cannot take."""
    known = _known(session, [row.lot for row in rows])
    places = _places(session, {row.location for row in rows if row.location is not None})
    result = Sorted(places=places)
    room = Room(session, [place.id for place in places.values() if place.id is not None])
    for row in rows:
        before = known.get(row.lot)
        reasons = _against_book(row, before) if before else _against_places(row, places, room)
        if reasons:
            result.refused.append(RefusedRow(row.line, row.lot, reasons))
        elif before:
            result.there.append(row)
        else:
            result.new.append(row)
    result.parcels = _parcels(session, result.new)
    return result


def _parcels(session: Session, rows: Iterable[StockRow]) -> list[Parcels]:
    """Find marks that a coffee year has more than once.

    Opening stock describes what lies on the racks, so they are not refused but pointed out.
    """
    found: dict[tuple[Mark, int], list[str]] = {}
    for row in rows:
        mark = parse_mark(row.ico_mark or "")
        if mark is not None:
            found.setdefault((mark, coffee_year(day_of(row.received_at))), []).append(row.lot)
    there = carriers(session, {mark.key for mark, _ in found})
    shipments = {
        (mark, year): [*there.get((mark.key, year), {}), *lots]
        for (mark, year), lots in found.items()
    }
    return [
        Parcels(mark.canonical, coffee_year_label(year), lots)
        for (mark, year), lots in sorted(shipments.items())
        if len(lots) > 1
    ]


def _known(session: Session, codes: Iterable[str]) -> dict[str, _Known]:
    known: dict[str, _Known] = {}
    for some in batched(codes, 500):
        rows = session.execute(
            select(
                col(Unit.code),
                col(Unit.kind),
                col(Unit.voided_entry_id),
                col(Entry.kind).label("entry_kind"),
                col(Entry.facts),
            )
            .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
            .where(col(Unit.code).in_(some))
        )
        for row in rows:
            said = json.loads(row.facts)["said"] if row.entry_kind == OPENING else None
            known[row.code] = _Known(UnitKind(row.kind), row.voided_entry_id is not None, said)
    return known


def _places(session: Session, codes: Collection[str]) -> dict[str, Location]:
    found: dict[str, Location] = {}
    for some in batched(sorted(codes), 500):
        statement = select(Location).where(col(Location.code).in_(some))
        found |= {place.code: place for place in session.scalars(statement)}
    return found


def _against_book(row: StockRow, before: _Known) -> list[tuple[str, str]]:
    if before.kind is not UnitKind.LOT:
        return [("lot", f"the book holds a {before.kind} with this code")]
    if before.voided:
        return [("lot", "the book holds a voided lot with this code: give it a new one")]
    if before.said is None:
        return [("lot", "the book holds this lot already, from a delivery")]
    said = row.said()
    other = sorted(
        name for name in said.keys() | before.said if said.get(name) != before.said.get(name)
    )
    if other:
        return [("lot", f"the book holds this lot already, with another {', '.join(other)}")]
    return []


def _against_places(
    row: StockRow, places: Mapping[str, Location], room: Room
) -> list[tuple[str, str]]:
    """Look for the place of a new row and for room there, beside the rows before it."""
    if row.location is None:
        return []
    place = places.get(row.location)
    if place is None or place.id is None:
        return [("location", f"there is no location {row.location}: enter it first")]
    coming_g = {place.id: row.whole_g}
    short = room.short_of(coming_g)
    if short is not None:
        return [("location", why_not(short).rstrip("."))]
    room.take(coming_g)
    return []


def enter(pen: Pen, row: StockRow, places: dict[str, Location]) -> None:
    """Book one row: an entry, a delivery, a lot and its sacks. It is not held: it is no arrival."""
    posting = Posting(OPENING, row.received_at, row.said())
    arrived = bear_lot(pen, posting, _lot(row), places)
    supplier = None if row.supplier is None else supplier_id(pen, row.supplier)
    entry_id = pen.post(posting)
    delivery = write_delivery(pen, entry_id, supplier, None)
    cost = None if row.cost_per_kg is None else str(row.cost_per_kg)
    write_lot(pen, entry_id, delivery, arrived, cost_per_kg=cost, currency=row.currency)
    papers = papers_of_asked(arrived.asked, row.received_at)
    record_papers(pen, [arrived], [Settled(papers)])


def _lot(row: StockRow) -> OpeningLot:
    sacks = [
        SacksIn.model_validate(
            {"count": count, "net_kg": kg_from_grams(grams), "location": row.location}
        )
        for count, grams in row.weights
    ]
    return OpeningLot(
        code=row.lot,
        name=row.name,
        origin=row.origin,
        crop_year=row.crop_year,
        process=row.process,
        ico_mark=row.ico_mark,
        moisture_pct=row.moisture_pct,
        certificate=row.certificate,
        note=row.note,
        sacks=sacks,
    )
