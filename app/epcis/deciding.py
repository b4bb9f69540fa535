"""Telling what quality decided: holds and their release, recalls, what tastings let in or reject.

A disposition is replaced by the next event; what stops coffee stays until it is unset, so it is
told as a persistent disposition (CBV 2.0). It is unset when nothing of its sort holds any more.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import Any, Final, NamedTuple

from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.telling import Rank, Told, Wrong
from app.ledger.corrections.tables import ActVoid
from app.ledger.tables import Hold, HoldRelease, HoldUnit
from app.quality.tables import Cupping, Verdict
from app.recall.tables import RecallStop
from app.shared.db import among
from app.standards.epcis import events
from app.standards.epcis.events import own

_HELD: Final = "non_sellable_other"
_RECALLED: Final = "recalled"
_REJECTED: Final = "non_conformant"
_BARRING: Final = frozenset({Verdict.REJECT, Verdict.SCRAP})


class _Stop(NamedTuple):
    """A hold as it is told."""

    id: int
    entry: int
    reason: str
    word: str
    released: int | None
    why: str | None


class Holds:
    """Holds that were placed or released in some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._entries = set(entry_ids)
        mine = among(session, col(Hold.entry_id), entry_ids) | among(
            session, col(HoldRelease.entry_id), entry_ids
        )
        found = [_stop(row) for row in session.execute(_stops().where(mine))]
        self._units: dict[int, list[int]] = defaultdict(list)
        for hold, unit in session.execute(
            select(col(HoldUnit.hold_id), col(HoldUnit.unit_id))
            .where(among(session, col(HoldUnit.hold_id), [stop.id for stop in found]))
            .order_by(col(HoldUnit.unit_id))
        ):
            self._units[hold].append(unit)
        self._told = found
        self._session = session

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for units in self._units.values():
            yield from units

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any: a hold ends by its release."""
        yield from ()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each hold that was placed and each that was released."""
        others = self._others(book)
        for stop in self._told:
            units = self._units[stop.id]
            if stop.entry in self._entries:
                yield self._placed(book, stop, units)
            if stop.released in self._entries and stop.released is not None:
                parts = [part for unit in units for part in book.coffee.parts(unit)]
                still = {
                    part
                    for part in parts
                    if any(
                        _open(other, stop) for other in others.get(part, ()) if other.id != stop.id
                    )
                }
                free = [part for part in parts if part not in still]
                yield from _released(book, stop, free, 0, unset=True)
                yield from _released(book, stop, sorted(still), 1, unset=False)

    def _placed(self, book: Book, stop: _Stop, units: list[int]) -> Told:
        event = events.object_event(
            book.journal.begin(stop.entry, "hold", stop.id), "OBSERVE", "holding",
            disposition=stop.word, persistentDisposition={"set": [stop.word]},
            quantityList=book.coffee.standing(units, stop.entry), readPoint=book.house,
            **{own("reason"): stop.reason},
        )  # fmt: skip
        facts = [book.coffee.units[unit] for unit in units]
        # A hold that its units were born with goes with them; any other stays until its release.
        voids = {unit.voided for unit in facts if unit.born == stop.entry}
        gone = len(voids) == 1 and all(unit.born == stop.entry for unit in facts)
        void = next(iter(voids)) if gone else None
        wrong = None if void is None else Wrong(void)
        if void is not None:
            book.journal.read(self._session, [void])
        return Told(stop.entry, Rank.HELD, stop.id, event, _about(book, units), wrong)

    def _others(self, book: Book) -> dict[int, list[_Stop]]:
        """Name every hold of each sack, roast or pack, with those of the lot it is a sack of."""
        parts = {part for unit in self.units() for part in book.coffee.parts(unit)}
        lots = {part: book.coffee.lots[part] for part in parts & book.coffee.lots.keys()}
        holds: dict[int, list[_Stop]] = defaultdict(list)
        for row in self._session.execute(
            _stops().add_columns(col(HoldUnit.unit_id))
            .join(HoldUnit, col(HoldUnit.hold_id) == col(Hold.id))
            .where(among(self._session, col(HoldUnit.unit_id), {*parts, *lots.values()}))
        ):  # fmt: skip
            holds[row.unit_id].append(_stop(row))
        return holds | {part: [*holds[part], *holds[lot]] for part, lot in lots.items()}


def _stops() -> Any:  # noqa: ANN401 - a select of many columns
    return (
        select(
            col(Hold.id), col(Hold.entry_id), col(Hold.reason),
            col(RecallStop.id).label("recall"), col(HoldRelease.entry_id).label("released"),
            col(HoldRelease.reason).label("why"),
        )
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .outerjoin(RecallStop, col(RecallStop.hold_id) == col(Hold.id))
        .order_by(col(Hold.id))
    )  # fmt: skip


def _stop(row: Row[Any]) -> _Stop:
    word = _HELD if row.recall is None else _RECALLED
    return _Stop(row.id, row.entry_id, row.reason, word, row.released, row.why)


def _open(other: _Stop, stop: _Stop) -> bool:
    """Tell whether another hold of the same sort stood when one was released."""
    at = stop.released or 0
    return (
        other.id != stop.id
        and other.word == stop.word
        and other.entry < at
        and (other.released is None or other.released > at)
    )


def _released(
    book: Book, stop: _Stop, units: list[int], number: int, *, unset: bool
) -> Iterator[Told]:
    if not units or stop.released is None:
        return
    event = events.object_event(
        book.journal.begin(stop.released, "release", stop.id, number), "OBSERVE", "inspecting",
        disposition="conformant" if unset else stop.word,
        persistentDisposition={"unset": [stop.word]} if unset else None,
        quantityList=book.coffee.standing(units, stop.released), readPoint=book.house,
        **{own("reason"): stop.why,
           own("releases"): book.journal.name(stop.entry, "hold", stop.id)},
    )  # fmt: skip
    order = stop.id * 2 + number
    yield Told(stop.released, Rank.RELEASED, order, event, _about(book, units))


def _about(book: Book, units: list[int]) -> frozenset[int]:
    return frozenset([*units, *(part for unit in units for part in book.coffee.parts(unit))])


class Tastings:
    """What tastings of roasts decided in some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._tasted = session.execute(
            select(
                Cupping, col(ActVoid.entry_id).label("void"), col(ActVoid.reason).label("why")
            )
            .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(Cupping.id))
            .where(among(session, col(Cupping.entry_id), entry_ids))
            .order_by(col(Cupping.id))
        ).all()  # fmt: skip

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        yield from (row[0].unit_id for row in self._tasted)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them."""
        yield from (row.void for row in self._tasted if row.void is not None)

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each tasting; what is rejected stays so."""
        for row in self._tasted:
            tasted: Cupping = row[0]
            barred = tasted.verdict in _BARRING
            event = events.object_event(
                book.journal.begin(tasted.entry_id, "cupping", tasted.id or 0), "OBSERVE",
                "inspecting", disposition=_REJECTED if barred else "conformant",
                persistentDisposition={"set": [_REJECTED]} if barred else None,
                quantityList=book.coffee.standing([tasted.unit_id], tasted.entry_id),
                readPoint=book.house, **{own("verdict"): str(tasted.verdict)},
            )  # fmt: skip
            wrong = None if row.void is None else Wrong(row.void, row.why)
            units = frozenset([tasted.unit_id])
            yield Told(tasted.entry_id, Rank.JUDGED, tasted.id or 0, event, units, wrong)
