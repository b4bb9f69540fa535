"""Telling what came: lots as they were entered with their sacks, and from whom they were received.

Both are told of one entry: first that the sacks have our names, with all that is known of their
lot, then that they were received, at the place where they were put.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import Row, and_, select
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.corrected import Corrections
from app.epcis.telling import Rank, Told, Wrong
from app.green.contracts.tables import PurchaseContract
from app.green.opening import OPENING
from app.green.tables import Condition, Delivery, GreenLot, Sack, Supplier
from app.ledger.tables import Entry, Unit
from app.places.tables import Location, Move
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.standards.epcis import events
from app.standards.epcis.events import LOT_NUMBER, ORIGIN, own

_WORDS = (
    ("name", "name"), ("crop_year", "cropYear"), ("process", "process"), ("ico_mark", "icoMark"),
    ("certificate", "certificate"), ("species", "species"), ("variety", "variety"),
    ("region", "region"), ("producer", "producer"),
)  # fmt: skip
"""What is said of a lot, by its column and by our own word for others."""
_MOST_GROUPS = 10_000


class Arrivals:
    """Lots that came with some entries, and their sacks."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._lots = session.execute(
            select(
                GreenLot, col(Unit.code), col(Unit.born_entry_id), col(Unit.voided_entry_id),
                col(Unit.made_g), col(Entry.kind), col(Delivery.reference), col(Supplier.id),
                col(Supplier.name), col(PurchaseContract.reference).label("contract"),
            )
            .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
            .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
            .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
            .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
            .outerjoin(PurchaseContract, col(PurchaseContract.id) == col(Delivery.contract_id))
            .where(among(session, col(Unit.born_entry_id), entry_ids))
            .order_by(col(Unit.id))
        ).all()  # fmt: skip
        self._sacks: dict[int, list[Row[Any]]] = defaultdict(list)
        lots = [row[0].unit_id for row in self._lots]
        self._corrections = Corrections(session, lots)
        for row in session.execute(_sacks_of().where(among(session, col(Sack.lot_id), lots))):
            self._sacks[row.lot_id].append(row)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for row in self._lots:
            yield row[0].unit_id

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them."""
        yield from self._corrections.entries()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each lot."""
        for row in self._lots:
            lot_id, entry = row[0].unit_id, row.born_entry_id
            sacks = self._sacks[lot_id]
            units = frozenset([lot_id, *(sack.id for sack in sacks)])
            wrong = self._corrections.wrong(book.journal, lot_id, "commissioning")
            named = [book.coffee.amount(sack.id, sack.made_g) for sack in sacks]
            entered = events.object_event(
                book.journal.begin(entry, "commissioning", lot_id), "ADD", "commissioning",
                disposition="active", quantityList=named, readPoint=book.house,
                ilmd=_master_data(row, sacks),
                **self._corrections.replaced(book.journal, lot_id, "commissioning"),
            )  # fmt: skip
            yield Told(entry, Rank.BORN, lot_id, entered, units, wrong)
            if row.kind != OPENING or row.id is not None:
                yield from self._received(book, row, sacks, wrong)

    def _received(
        self, book: Book, row: Row[Any], sacks: list[Row[Any]], wrong: Wrong | None
    ) -> Iterator[Told]:
        """Tell of each place where sacks of a lot were put."""
        lot, entry = row[0], row.born_entry_id
        by_place: dict[str | None, list[Row[Any]]] = defaultdict(list)
        for sack in sacks:
            by_place[sack.place].append(sack)
        for number, (place, there) in enumerate(by_place.items()):
            odd = [
                {own("of"): book.coffee.name(sack.id), own("condition"): str(sack.condition)}
                for sack in there
                if sack.condition != Condition.SOUND
            ]
            short = lot.advised_g is not None and lot.advised_g != row.made_g
            event = events.object_event(
                book.journal.begin(entry, "receiving", lot.unit_id, number), "OBSERVE", "receiving",
                quantityList=[book.coffee.amount(sack.id, sack.made_g) for sack in there],
                readPoint=book.house, bizLocation=book.at(place),
                persistentDisposition={"set": ["mismatch_quantity"]} if short else None,
                bizTransactionList=_papers(book, row), **_parties(book, row),
                **({own("conditions"): odd} if odd else {}),
            )  # fmt: skip
            units = frozenset([lot.unit_id, *(sack.id for sack in sacks)])
            order = lot.unit_id * _MOST_GROUPS + number
            yield Told(entry, Rank.RECEIVED, order, event, units, wrong)


def _sacks_of() -> Any:  # noqa: ANN401 - a select of many columns
    arrived = and_(
        col(Move.unit_id) == col(Unit.id), col(Move.entry_id) == col(Unit.born_entry_id),
        col(Move.from_id).is_(None),
    )  # fmt: skip
    return (
        select(
            col(Sack.lot_id), col(Unit.id), col(Unit.made_g), col(Sack.condition),
            col(Location.code).label("place"),
        )
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .outerjoin(Move, arrived)
        .outerjoin(Location, col(Location.id) == col(Move.to_id))
        .order_by(col(Unit.id))
    )  # fmt: skip


def _papers(book: Book, row: Row[Any]) -> list[events.Event]:
    papers = []
    if row.contract is not None:
        papers.append(events.paper("po", book.naming.paper("po", row.contract)))
    if row.reference is not None:
        # The supplier's own number: another supplier may have the same.
        theirs = book.naming.own("paper", "desadv", row.id or "unknown", row.reference)
        papers.append(events.paper("desadv", theirs))
    return papers


def _parties(book: Book, row: Row[Any]) -> dict[str, object]:
    if row.id is None:
        return {}
    return events.handed_over(book.party("supplier", row.id, row.name), book.firm)


def _master_data(row: Row[Any], sacks: list[Row[Any]]) -> dict[str, object]:
    lot: GreenLot = row[0]
    said = {own(word): getattr(lot, name) for name, word in _WORDS if getattr(lot, name)}
    said |= {
        own(word): kg_from_grams(grams)
        for word, grams in (("advisedKg", lot.advised_g), ("shippedKg", lot.shipped_g))
        if grams is not None
    }
    days = (("shippedOn", lot.shipped_on), ("harvestEndedOn", lot.harvest_ended_on))
    said |= {own(word): day.isoformat() for word, day in days if day is not None}
    if row.kind == OPENING:
        said[own("openingStock")] = True
    return {
        LOT_NUMBER: row.code, ORIGIN: lot.origin, own("parentLot"): row.code,
        own("sackCount"): len(sacks), **said,
    }  # fmt: skip
