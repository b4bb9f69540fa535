"""Telling of packing material: lots that came, what was counted or written off, holds of them.

What went into bags is told with the bags, so that contact material can be traced one step back.
"""

from collections.abc import Collection, Iterator
from typing import Any, Final

from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.telling import Rank, Told, Wrong
from app.green.tables import Supplier
from app.ledger.corrections.tables import ActVoid
from app.packing.materials.tables import (
    Material,
    MaterialChange,
    MaterialHold,
    MaterialLot,
    MaterialRelease,
    MaterialUnit,
    MaterialUse,
)
from app.shared.db import among
from app.shared.mass import kg_from_grams as from_milli
from app.standards.epcis import events
from app.standards.epcis.events import LOT_NUMBER, own
from app.standards.epcis.naming import Naming
from app.standards.epcis.words import METRE

_THOUSAND: Final = 1000
_PIECE: Final = "H87"
"""A piece as a unit: of material that is counted in parts of pieces."""
_HOLDING: Final = {"set": ["non_sellable_other"]}
_RELEASING: Final = {"unset": ["non_sellable_other"]}


def _amount(naming: Naming, row: Row[Any], milli: int | None) -> events.Event:
    """Name so many pieces or metres of a lot of material."""
    name = naming.own("material", row.material, row.code)
    if milli is None:
        return {"epcClass": name}
    if row.unit == MaterialUnit.METRE:
        return {"epcClass": name, "quantity": from_milli(milli), "uom": METRE}
    if milli % _THOUSAND:
        return {"epcClass": name, "quantity": from_milli(milli), "uom": _PIECE}
    return events.pieces(name, milli // _THOUSAND)


def used(naming: Naming, row: Row[Any]) -> events.Event:
    """Name what of a lot went into the bags of a pack."""
    return _amount(naming, row, row.used_milli or None)


class Materials:
    """Lots of packing material that something was done with in some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        def of(*columns: Any) -> Any:  # noqa: ANN401 - a select of any columns
            return (
                select(
                    *columns, col(MaterialLot.id).label("lot_id"), col(MaterialLot.code),
                    col(Material.code).label("material"), col(Material.unit),
                    col(Material.name).label("said"),
                )
                .join(Material, col(Material.id) == col(MaterialLot.material_id))
                .order_by(col(MaterialLot.id))
            )  # fmt: skip

        self._lots = session.execute(
            of(col(MaterialLot.entry_id), col(MaterialLot.received_milli),
               col(MaterialLot.reference), col(Supplier.id), col(Supplier.name),
               col(ActVoid.entry_id).label("void"), col(ActVoid.reason).label("wrong"))
            .outerjoin(ActVoid, col(ActVoid.material_lot_id) == col(MaterialLot.id))
            .outerjoin(Supplier, col(Supplier.id) == col(MaterialLot.supplier_id))
            .where(among(session, col(MaterialLot.entry_id), entry_ids))
        ).all()  # fmt: skip
        self._changes = session.execute(
            of(col(MaterialChange.id), col(MaterialChange.entry_id),
               col(MaterialChange.change_milli), col(MaterialChange.counted_milli),
               col(MaterialChange.reason), col(ActVoid.entry_id).label("void"),
               col(ActVoid.reason).label("wrong"))
            .join(MaterialChange, col(MaterialChange.lot_id) == col(MaterialLot.id))
            .outerjoin(ActVoid, col(ActVoid.material_change_id) == col(MaterialChange.id))
            .where(among(session, col(MaterialChange.entry_id), entry_ids))
        ).all()  # fmt: skip
        held = of(col(MaterialHold.id), col(MaterialHold.entry_id), col(MaterialHold.reason)).join(
            MaterialHold, col(MaterialHold.lot_id) == col(MaterialLot.id)
        )
        self._holds = session.execute(
            held.where(among(session, col(MaterialHold.entry_id), entry_ids))
        ).all()
        self._releases = session.execute(
            of(col(MaterialHold.id), col(MaterialRelease.entry_id), col(MaterialRelease.reason))
            .join(MaterialHold, col(MaterialHold.lot_id) == col(MaterialLot.id))
            .join(MaterialRelease, col(MaterialRelease.hold_id) == col(MaterialHold.id))
            .where(among(session, col(MaterialRelease.entry_id), entry_ids))
        ).all()  # fmt: skip
        lots = {row.lot_id for row in (*self._lots, *self._changes, *self._holds, *self._releases)}
        self._packs: dict[int, set[int]] = {lot: set() for lot in lots}
        for lot, pack in session.execute(
            select(col(MaterialUse.lot_id), col(MaterialUse.pack_id)).where(
                among(session, col(MaterialUse.lot_id), lots)
            )
        ):
            self._packs[lot].add(pack)

    def units(self) -> Iterator[int]:
        """Name the units that are told of: none."""
        yield from ()

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of it."""
        for row in (*self._lots, *self._changes):
            if row.void is not None:
                yield row.void

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each lot; it is asked for where a pack that used it is."""
        yield from self._came(book)
        yield from self._changed(book)
        for rows, rank, word, lasting in (
            (self._holds, Rank.HELD, "holding", _HOLDING),
            (self._releases, Rank.RELEASED, "inspecting", _RELEASING),
        ):
            for row in rows:
                event = events.object_event(
                    book.journal.begin(row.entry_id, word, row.id), "OBSERVE", word,
                    persistentDisposition=lasting, readPoint=book.house,
                    quantityList=[_amount(book.naming, row, None)], **{own("reason"): row.reason},
                )  # fmt: skip
                yield Told(row.entry_id, rank, row.id, event, self._about(row))

    def _about(self, row: Row[Any]) -> frozenset[int]:
        return frozenset(self._packs[row.lot_id])

    def _came(self, book: Book) -> Iterator[Told]:
        for row in self._lots:
            named = [_amount(book.naming, row, row.received_milli)]
            entered = events.object_event(
                book.journal.begin(row.entry_id, "commissioning", row.lot_id), "ADD",
                "commissioning", disposition="active", quantityList=named, readPoint=book.house,
                ilmd={LOT_NUMBER: row.code, own("material"): row.said},
            )  # fmt: skip
            about, wrong = self._about(row), _wrong(row)
            yield Told(row.entry_id, Rank.BORN, row.lot_id, entered, about, wrong)
            if row.id is None:
                continue
            theirs = book.naming.own("paper", "desadv", row.id, row.reference or "")
            received = events.object_event(
                book.journal.begin(row.entry_id, "receiving", row.lot_id), "OBSERVE", "receiving",
                quantityList=named, readPoint=book.house,
                bizTransactionList=[events.paper("desadv", theirs)] if row.reference else None,
                **events.handed_over(book.party("supplier", row.id, row.name), book.firm),
            )  # fmt: skip
            yield Told(row.entry_id, Rank.RECEIVED, row.lot_id, received, about, wrong)

    def _changed(self, book: Book) -> Iterator[Told]:
        for row in self._changes:
            if row.change_milli == 0:
                continue
            more = row.change_milli > 0
            event = events.object_event(
                book.journal.begin(row.entry_id, "adjustment", row.id),
                "ADD" if more else "DELETE",
                "creating_class_instance" if more else own("adjusting_down"),
                quantityList=[_amount(book.naming, row, abs(row.change_milli))],
                readPoint=book.house, **{own("reason"): row.reason},
            )  # fmt: skip
            rank = Rank.MORE if more else Rank.LESS
            yield Told(row.entry_id, rank, row.id, event, self._about(row), _wrong(row))


def _wrong(row: Row[Any]) -> Wrong | None:
    return None if row.void is None else Wrong(row.void, row.wrong)
