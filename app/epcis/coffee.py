"""How units of the book are named to others, and how much of them there was at an entry."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from itertools import accumulate
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.tables import Sack
from app.ledger.tables import Adjustment, Flow, Unit, UnitKind
from app.sending.bags import BagFacts, facts_of, origins
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.standards.epcis.events import Event, merged, pieces, quantity
from app.standards.epcis.naming import Naming


class Facts(NamedTuple):
    """What is known of a unit."""

    id: int
    code: str
    kind: UnitKind
    made_g: int
    born: int
    voided: int | None


class Coffee:
    """Some units of the book, with the sacks of lots and the packs of bags among them."""

    def __init__(self, session: Session, naming: Naming, unit_ids: Collection[int]) -> None:
        self._naming = naming
        self._sacks: dict[int, list[int]] = defaultdict(list)
        for lot, sack in session.execute(
            select(col(Sack.lot_id), col(Sack.unit_id))
            .where(among(session, col(Sack.lot_id), unit_ids))
            .order_by(col(Sack.unit_id))
        ):
            self._sacks[lot].append(sack)
        self.lots = dict(_lots_of(session, unit_ids)) | {
            sack: lot for lot, sacks in self._sacks.items() for sack in sacks
        }
        """The lot that each sack is of."""
        everything = {*unit_ids, *(sack for sacks in self._sacks.values() for sack in sacks)}
        self.units = dict(_facts(session, everything))
        bags = [
            unit.id for unit in self.units.values() if unit.kind in {UnitKind.PACK, UnitKind.RETURN}
        ]
        self._bags: dict[int, BagFacts] = dict(facts_of(session, bags)) if bags else {}
        self._first_packs = _first_packs(session, bags)
        self._left = _timelines(session, self.units)

    def name(self, unit_id: int) -> str:
        """Name a unit; bags that came back are named as the pack they were first in."""
        unit = self.units[unit_id]
        bags = self._bags.get(unit_id)
        if bags is None:
            return self._naming.coffee(unit.kind, unit.code)
        return self._naming.coffee(UnitKind.PACK, self._first_packs[unit_id], bags.gtin)

    def amount(self, unit_id: int, grams: int) -> Event:
        """Name so much of a unit: whole bags as pieces, all else in kilograms."""
        bags = self._bags.get(unit_id)
        if bags is not None and grams % bags.nominal_g == 0:
            return pieces(self.name(unit_id), grams // bags.nominal_g)
        return quantity(self.name(unit_id), kg_from_grams(grams))

    def bags(self, unit_id: int, count: int) -> Event:
        """Name so many bags."""
        return pieces(self.name(unit_id), count)

    def parts(self, unit_id: int) -> list[int]:
        """Name what a unit stands in: a lot in its sacks."""
        return self._sacks.get(unit_id) or [unit_id]

    def standing(self, unit_ids: Iterable[int], entry: int) -> list[Event]:
        """Name units with all that there was of them once the book had an entry.

        What had been used up is named without a quantity.
        """
        parts = dict.fromkeys(part for unit_id in unit_ids for part in self.parts(unit_id))
        return merged(self._all_of(part, entry) for part in parts)

    def _all_of(self, unit_id: int, entry: int) -> Event:
        left_g = self.left_g(unit_id, entry)
        return self.amount(unit_id, left_g) if left_g else quantity(self.name(unit_id))

    def left_g(self, unit_id: int, entry: int) -> int:
        """Tell what was left of a unit once the book had an entry."""
        entries, sums = self._left[unit_id]
        there = bisect_right(entries, entry)
        return sums[there - 1] if there else 0


def _lots_of(session: Session, unit_ids: Collection[int]) -> Iterator[tuple[int, int]]:
    rows = session.execute(
        select(col(Sack.unit_id), col(Sack.lot_id)).where(
            among(session, col(Sack.unit_id), unit_ids)
        )
    )
    yield from ((sack, lot) for sack, lot in rows)


def _facts(session: Session, unit_ids: Collection[int]) -> Iterator[tuple[int, Facts]]:
    rows = session.execute(
        select(
            col(Unit.id), col(Unit.code), col(Unit.kind), col(Unit.made_g),
            col(Unit.born_entry_id), col(Unit.voided_entry_id),
        )
        .where(among(session, col(Unit.id), unit_ids))
        .order_by(col(Unit.id))
    )  # fmt: skip
    for row in rows:
        yield row[0], Facts(row[0], row[1], UnitKind(row[2]), *row[3:])


def _first_packs(session: Session, bag_ids: Collection[int]) -> dict[int, str]:
    """Name the pack that bags were first in, by their unit."""
    first = {unit: unit for unit in bag_ids} | dict(origins(session, bag_ids)) if bag_ids else {}
    codes = {unit: facts.code for unit, facts in _facts(session, set(first.values()))}
    return {unit: codes[pack] for unit, pack in first.items()}


Timeline = tuple[list[int], list[int]]
"""Entries at which what is left changed, and what was left after each."""


def _timelines(session: Session, units: dict[int, Facts]) -> dict[int, Timeline]:
    changes: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for unit in units.values():
        changes[unit.id].append((unit.born, unit.made_g))
    for source, grams, born, voided in session.execute(
        select(
            col(Flow.source_id), col(Flow.grams), col(Unit.born_entry_id),
            col(Unit.voided_entry_id),
        )
        .join(Unit, col(Unit.id) == col(Flow.target_id))
        .where(among(session, col(Flow.source_id), units))
    ):  # fmt: skip
        changes[source].append((born, -grams))
        if voided is not None:
            changes[source].append((voided, grams))
    for unit_id, entry, grams in session.execute(
        select(col(Adjustment.unit_id), col(Adjustment.entry_id), col(Adjustment.grams)).where(
            among(session, col(Adjustment.unit_id), units)
        )
    ):
        changes[unit_id].append((entry, grams))
    return {unit_id: _added_up(some, units[unit_id].voided) for unit_id, some in changes.items()}


def _added_up(changes: list[tuple[int, int]], voided: int | None) -> Timeline:
    changes.sort(key=lambda change: change[0])
    kept = [each for each in changes if voided is None or each[0] < voided]
    entries = [entry for entry, _ in kept]
    sums = list(accumulate(grams for _, grams in kept))
    if voided is not None:
        entries.append(voided)
        sums.append(0)
    return entries, sums
