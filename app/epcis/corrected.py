"""What turned out wrong, and what was booked in its place, in both directions."""

from collections import defaultdict
from collections.abc import Collection, Iterator

from sqlalchemy import or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.epcis.telling import Journal, Wrong
from app.ledger.corrections.tables import Correction
from app.ledger.tables import Unit
from app.shared.db import among
from app.standards.epcis.events import own

Born = tuple[int, str, int]
"""The entry a unit was born by, what it is, and its number."""


class Corrections:
    """The voids of some units, and what replaced them or what they replace."""

    def __init__(self, session: Session, unit_ids: Collection[int]) -> None:
        self._voided: dict[int, int] = {
            row[0]: row[1]
            for row in session.execute(
                select(col(Unit.id), col(Unit.voided_entry_id)).where(
                    among(session, col(Unit.id), unit_ids), col(Unit.voided_entry_id).is_not(None)
                )
            )
        }
        self._by: dict[int, tuple[str, set[Born]]] = {}
        self._of: dict[int, set[Born]] = defaultdict(set)
        old, new = aliased(Unit), aliased(Unit)
        for row in session.execute(
            select(
                Correction, col(old.born_entry_id).label("old_entry"), col(old.kind),
                col(new.born_entry_id).label("new_entry"),
            )
            .join(old, col(old.id) == col(Correction.old_unit_id))
            .join(new, col(new.id) == col(Correction.new_unit_id))
            .where(
                or_(
                    among(session, col(Correction.old_unit_id), unit_ids),
                    among(session, col(Correction.new_unit_id), unit_ids),
                )
            )
        ):  # fmt: skip
            kept: Correction = row[0]
            self._by[kept.old_unit_id] = (
                kept.reason,
                {(row.new_entry, row.kind, kept.new_unit_id)},
            )
            self._of[kept.new_unit_id].add((row.old_entry, row.kind, kept.old_unit_id))

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of the units."""
        yield from self._voided.values()

    def wrong(self, journal: Journal, unit_id: int, word: str | None = None) -> Wrong | None:
        """Tell how a unit turned out wrong, if it did; a lot is told by more than one word."""
        voided = self._voided.get(unit_id)
        if voided is None:
            return None
        why, by = self._by.get(unit_id, (None, set()))
        return Wrong(voided, why, tuple(sorted(_names(journal, by, word))))

    def replaced(
        self, journal: Journal, unit_id: int, word: str | None = None
    ) -> dict[str, object]:
        """Say in a word of our own which events one is booked in the place of."""
        names = sorted(_names(journal, self._of.get(unit_id, set()), word))
        return {own("corrects"): names} if names else {}


def _names(journal: Journal, born: Collection[Born], word: str | None) -> Iterator[str]:
    for entry, kind, number in born:
        yield journal.name(entry, word, number) if word else journal.name(entry, str(kind))
