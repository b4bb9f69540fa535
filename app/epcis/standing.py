"""Telling what was done with coffee where it stood: moved, read, sampled, adjusted, counted."""

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import Any, Final

from sqlalchemy import Row, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.telling import Rank, Told, Wrong
from app.green.counting.tables import StockCountClose, StockCountLine
from app.green.instruments.tables import Instrument
from app.green.readings.tables import Reading, ReadingKind, ReadingVoid
from app.ledger.tables import Adjustment, Reason, Unit
from app.places.tables import Location, Move
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.shared.mass import kg_from_grams as from_milli
from app.standards.epcis import events
from app.standards.epcis.events import own
from app.standards.epcis.words import CELSIUS, GRAM_PER_LITRE, PER_CENT

_MEASURED: Final[dict[str, tuple[str, str | None]]] = {
    ReadingKind.MOISTURE: (own("MoistureContentWetBasis"), PER_CENT),
    ReadingKind.WATER_ACTIVITY: (own("WaterActivity"), None),
    ReadingKind.DENSITY: (own("BulkDensity"), GRAM_PER_LITRE),
    ReadingKind.TEMPERATURE: ("Temperature", CELSIUS),
    ReadingKind.RELATIVE_HUMIDITY: ("RelativeHumidity", PER_CENT),
    ReadingKind.COLOUR: (own("RoastColour"), None),
}
"""What a reading is called and its unit. The standard has no word for the moisture of a solid."""


class Moves:
    """What was carried from place to place in some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        before, after = aliased(Location), aliased(Location)
        self._moves: dict[tuple[int, str, str], list[Row[Any]]] = defaultdict(list)
        for row in session.execute(
            select(
                col(Move.id), col(Move.unit_id), col(Move.entry_id),
                col(before.code).label("before"), col(after.code).label("after"),
            )
            .join(before, col(before.id) == col(Move.from_id))
            .join(after, col(after.id) == col(Move.to_id))
            .where(among(session, col(Move.entry_id), entry_ids))
            .order_by(col(Move.id))
        ):  # fmt: skip
            self._moves[row.entry_id, row.before, row.after].append(row)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for rows in self._moves.values():
            yield from (row.unit_id for row in rows)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any: a move is undone by moving back."""
        yield from ()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of everything that went the same way at once."""
        for (entry, before, after), rows in self._moves.items():
            number = rows[0].id
            moved = [row.unit_id for row in rows]
            event = events.object_event(
                book.journal.begin(entry, "move", number), "OBSERVE", "storing",
                quantityList=book.coffee.standing(moved, entry),
                readPoint=book.at(before), bizLocation=book.at(after),
            )  # fmt: skip
            yield Told(entry, Rank.MOVED, number, event, frozenset(moved))


class Readings:
    """What was measured in some entries, of coffee and of rooms."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._readings = session.execute(
            select(
                Reading, col(Location.code).label("place"), col(Instrument.code).label("card"),
                col(ReadingVoid.entry_id).label("void"), col(ReadingVoid.reason).label("why"),
            )
            .outerjoin(Location, col(Location.id) == col(Reading.location_id))
            .outerjoin(Instrument, col(Instrument.id) == col(Reading.instrument_id))
            .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
            .where(among(session, col(Reading.entry_id), entry_ids))
            .order_by(col(Reading.id))
        ).all()  # fmt: skip

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        yield from (row[0].unit_id for row in self._readings if row[0].unit_id is not None)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them."""
        yield from (row.void for row in self._readings if row.void is not None)

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each reading; of a room it has a read point and is about no coffee."""
        for row in self._readings:
            reading: Reading = row[0]
            of_unit = reading.unit_id is not None
            event = events.object_event(
                book.journal.begin(reading.entry_id, "reading", reading.id or 0), "OBSERVE",
                "inspecting" if of_unit else "sensor_reporting",
                quantityList=book.coffee.standing([reading.unit_id], reading.entry_id)
                if reading.unit_id is not None else None,
                readPoint=book.house if of_unit else book.at(row.place),
                sensorElementList=[_sensed(book, reading, row.card)],
            )  # fmt: skip
            wrong = None if row.void is None else Wrong(row.void, row.why)
            about = [] if reading.unit_id is None else [reading.unit_id]
            units = frozenset(
                [*about, *(part for unit in about for part in book.coffee.parts(unit))]
            )
            yield Told(reading.entry_id, Rank.READ, reading.id or 0, event, units, wrong)


def _sensed(book: Book, reading: Reading, card: str | None) -> events.Event:
    kind, unit = _MEASURED[reading.kind]
    report: events.Event = {"type": kind, "value": from_milli(reading.value_milli)}
    if unit is not None:
        report["uom"] = unit
    reports = [report]
    if reading.temperature_milli is not None:
        warm = from_milli(reading.temperature_milli)
        reports.append({"type": "Temperature", "value": warm, "uom": CELSIUS})
    said: events.Event = {"time": book.journal.begin(reading.entry_id, "reading")["eventTime"]}
    if card is not None:
        said["deviceID"] = book.naming.own("instrument", card)
    if reading.instrument:
        said[own("instrument")] = reading.instrument
    if reading.method:
        said[own("method")] = reading.method
    return {"sensorMetadata": said, "sensorReport": reports}


class Changes:
    """What made units heavier or lighter in some entries: samples, spills, what was destroyed."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        back = aliased(Adjustment)
        self._lines = session.execute(
            select(
                Adjustment, col(back.entry_id).label("void"), col(back.note).label("why"),
            )
            .outerjoin(back, col(back.reverses_id) == col(Adjustment.id))
            .where(among(session, col(Adjustment.entry_id), entry_ids))
            .where(col(Adjustment.reverses_id).is_(None))
            # What came back is told as a return.
            .where(col(Adjustment.reason) != Reason.RETURNED)
            .order_by(col(Adjustment.id))
        ).all()  # fmt: skip
        self._born: dict[int, set[int]] = defaultdict(set)
        entries = {row[0].entry_id for row in self._lines}
        for entry, unit in session.execute(
            select(col(Unit.born_entry_id), col(Unit.id)).where(
                among(session, col(Unit.born_entry_id), entries)
            )
        ):
            self._born[entry].add(unit)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        yield from (row[0].unit_id for row in self._lines)

    def entries(self) -> Iterator[int]:
        """Name the entries that took any of them back."""
        yield from (row.void for row in self._lines if row.void is not None)

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each change; one that was booked by making a unit is asked for with that."""
        for row in self._lines:
            line: Adjustment = row[0]
            more = line.grams > 0
            step, disposition = _step(line)
            event = events.object_event(
                book.journal.begin(line.entry_id, "adjustment", line.id),
                "ADD" if more else "DELETE", step, disposition=disposition,
                quantityList=[book.coffee.amount(line.unit_id, abs(line.grams))],
                readPoint=book.house, **{own("reason"): str(line.reason)},
                **({own("note"): line.note} if line.note else {}),
            )  # fmt: skip
            units = frozenset([line.unit_id, *self._born[line.entry_id]])
            wrong = None if row.void is None else Wrong(row.void, row.why)
            rank = Rank.MORE if more else Rank.LESS
            yield Told(line.entry_id, rank, line.id, event, units, wrong)


def _step(line: Adjustment) -> tuple[str, str | None]:
    """Say what a change is in the vocabulary, which has no word for adjusting."""
    if line.grams > 0:
        return "creating_class_instance", None
    if line.reason == Reason.SAMPLE:
        return "sampling", "destroyed"
    if line.reason == Reason.DESTROYED:
        return "destroying", "destroyed"
    return own("adjusting_down"), None


class Counts:
    """What was counted in some entries. While counting goes on nobody is told a mass."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._lines = session.execute(
            select(StockCountLine, col(Location.code).label("place"))
            .join(StockCountClose, col(StockCountClose.count_id) == col(StockCountLine.count_id))
            .outerjoin(Location, col(Location.id) == col(StockCountLine.location_id))
            .where(among(session, col(StockCountLine.entry_id), entry_ids))
            .order_by(col(StockCountLine.id))
        ).all()

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        yield from (row[0].sack_id for row in self._lines)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any: a later line counts, and both stay."""
        yield from ()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each sack: what was found and what the book had."""
        for row in self._lines:
            line: StockCountLine = row[0]
            found_g = line.counted_g or 0
            event = events.object_event(
                book.journal.begin(line.entry_id, "count", line.id), "OBSERVE", "stock_taking",
                quantityList=[book.coffee.amount(line.sack_id, found_g)],
                readPoint=book.at(row.place) or book.house,
                **{own("bookKg"): kg_from_grams(line.book_g),
                   own("varianceKg"): kg_from_grams(found_g - line.book_g),
                   own("found"): line.counted_g is not None},
            )  # fmt: skip
            yield Told(line.entry_id, Rank.COUNTED, line.id, event, frozenset([line.sack_id]))
