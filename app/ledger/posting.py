"""Writing into the book: one posting is one entry with all its lines.

Units born here take the next numbers, which is safe because whoever posts holds the pen
(`app.shared.db.writing`); a posting that would overdraw a unit or move held coffee is refused
before anything is written.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import Row, bindparam, func, select, update
from sqlmodel import Session, SQLModel, col

from app.ledger.queries import on_hold
from app.ledger.rules import FIRST_SHA256, Lines, canonical, seal
from app.ledger.tables import LETTERS, Adjustment, Entry, Flow, Reason, Unit, UnitKind
from app.settings import Settings
from app.shared.bulk import write_rows
from app.shared.codes import issue
from app.shared.db import Among, AnySelect, OverIds, among, batched
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused
from app.shared.times import now, text

# Built once, since putting a statement together takes several times as long as running it, and run
# on the connection, since the session adds nothing to rows that are no entities.
_TAKEN = select(col(Unit.code)).where(col(Unit.code).in_(bindparam("codes", expanding=True)))
_CHANGE = (
    update(Unit)
    .where(col(Unit.id) == bindparam("unit"), col(Unit.left_g) >= bindparam("least"))
    .where(col(Unit.voided_entry_id).is_(None))
    .values(left_g=col(Unit.left_g) + bindparam("grams"))
)
_ENDS = (
    select(
        col(Entry.id),
        col(Entry.sha256),
        select(func.max(col(Unit.id))).scalar_subquery().label("unit"),
        select(func.max(col(Adjustment.id))).scalar_subquery().label("adjustment"),
    )
    .order_by(col(Entry.id).desc())
    .limit(1)
)
"""Where the book ends: without an entry there is nothing else either."""


@OverIds
def _there(among: Among) -> AnySelect:
    """Units as a posting finds them, with whether they are on hold."""
    return select(
        col(Unit.id),
        col(Unit.code),
        col(Unit.kind),
        col(Unit.left_g),
        col(Unit.voided_entry_id),
        on_hold(col(Unit.id)).label("held"),
    ).where(among(col(Unit.id)))


class Birth(NamedTuple):
    """A unit on its way into the book."""

    id: int
    code: str
    kind: UnitKind
    made_g: int
    location_id: int | None


class Change(NamedTuple):
    """An adjustment on its way into the book."""

    unit_id: int
    grams: int
    reason: Reason
    note: str | None
    reverses: int | None
    """The adjustment that it takes back."""


@dataclass
class Posting:
    """Everything one act writes."""

    kind: str
    happened_at: datetime
    said: Mapping[str, object]
    """What was asked, for the journal."""
    reverses_id: int | None = None
    despite_holds: bool = False
    """True for coffee that comes back: a return is taken in even while its pack is on hold."""
    births: list[Birth] = field(default_factory=list)
    given_codes: list[str] = field(default_factory=list)
    """Codes that somebody chose: nobody can have taken one that the book issues."""
    flows: Counter[tuple[int, int]] = field(default_factory=Counter)
    adjustments: list[Change] = field(default_factory=list)
    voided: list[int] = field(default_factory=list)
    """Units that turn out never to have been."""
    given_back: Counter[int] = field(default_factory=Counter)
    """What flows back out of voided units into the units it came from."""
    replaced: list[int] = field(default_factory=list)
    """Voided units in whose place the new ones are booked, in the same order."""
    reason: str | None = None
    """Why they are replaced."""
    held: set[int] = field(default_factory=set)
    """New units for which a hold of the unit they replace goes on."""

    def flow(self, source_id: int, target: Birth, grams: int) -> None:
        """Let grams of an older unit go into the new one; twice from the same adds up."""
        self.flows[source_id, target.id] += grams

    def adjust(
        self,
        unit_id: int,
        grams: int,
        reason: Reason,
        note: str | None = None,
        *,
        reverses: int | None = None,
    ) -> None:
        """Make a unit heavier or lighter, or take back that it was made so."""
        self.adjustments.append(Change(unit_id, grams, reason, note, reverses))

    def left_of(self, unit: Unit) -> int:
        """Tell what is left of a unit once this posting has given back what it undoes."""
        adjusted_g = sum(each.grams for each in self.adjustments if each.unit_id == unit.id)
        return unit.left_g + self.given_back[unit.id] + adjusted_g

    def lines(self) -> Lines:
        """Everything as it stands in the journal."""
        return Lines(
            born=[(birth.id, birth.code, birth.kind, birth.made_g) for birth in self.births],
            flows=[(source, target, grams) for (source, target), grams in self.flows.items()],
            adjusted=[(each.unit_id, each.grams, each.reason) for each in self.adjustments],
            voided=self.voided,
        )


class Pen:
    """The one hand that writes during a transaction."""

    def __init__(
        self,
        session: Session,
        who: str,
        settings: Settings,
        key: str | None = None,
        fingerprint: str | None = None,
    ) -> None:
        self.session = session
        self._connection = session.connection()
        self.who = who
        self.settings = settings
        self.now = now()
        self.entry_id: int | None = None
        """The last entry posted."""
        self.keyed_entry_id: int | None = None
        """The first entry posted, which carries the key; most acts post no other."""
        self._key = key
        self._fingerprint = fingerprint
        last = self._connection.execute(_ENDS).first()
        self._last_entry: int = last.id if last else 0
        self._last_sha256: str = last.sha256 if last else FIRST_SHA256
        self._last_unit: int = (last and last.unit) or 0
        self._last_adjustment: int = (last and last.adjustment) or 0

    def moment(self, said: datetime | None, pointer: str) -> datetime:
        """Take the time somebody gave, or now; refuse one that is ahead of our clock."""
        ahead = timedelta(minutes=self.settings.ahead_minutes)
        if said is not None and said > self.now + ahead:
            raise FieldRefused(
                pointer,
                f"{text(said)} is more than {self.settings.ahead_minutes} minutes ahead of "
                f"the server, where it is {text(self.now)}",
            )
        return said or self.now

    def bear(
        self,
        posting: Posting,
        kind: UnitKind,
        code: str | None,
        made_g: int,
        location_id: int | None = None,
    ) -> Birth:
        """Give a new unit its number and its code."""
        self._last_unit += 1
        birth = Birth(
            self._last_unit,
            code or issue(LETTERS[kind], self._last_unit),
            kind,
            made_g,
            location_id,
        )
        posting.births.append(birth)
        if code is not None:
            posting.given_codes.append(code)
        return birth

    def post(self, posting: Posting) -> int:
        """Write a posting as the next entry and return its number.

        Raises:
            Refused: `code-taken`, `insufficient-stock`, `on-hold`; nothing is written then.
        """
        self.session.flush()  # what follows runs on the connection beside the session
        self._refuse_taken_codes(posting.given_codes)
        self._refuse_voided_sources(posting)
        changes = _changes(posting)
        there = _there.rows(self.session, changes.keys())
        if not posting.despite_holds:
            _refuse_held(posting, there)
        _refuse_overdraw(posting, changes, there)
        entry_id = self._write_entry(posting)
        self._write_units(posting, entry_id)
        self._write_changes(changes)
        self._write_voids(posting, entry_id)
        self._write_flows(posting)
        self._write_adjustments(posting, entry_id)
        self.entry_id = entry_id
        self.keyed_entry_id = self.keyed_entry_id or entry_id
        return entry_id

    def note(self, kind: str, said: Mapping[str, object], at: datetime | None = None) -> int:
        """Write an entry that moves no coffee."""
        return self.post(Posting(kind, at or self.now, said))

    def _refuse_taken_codes(self, codes: Sequence[str]) -> None:
        twice = [code for code, times in Counter(codes).items() if times > 1]
        taken = set(twice)
        for some in batched(codes, 500):
            taken |= set(self._connection.scalars(_TAKEN, {"codes": some}))
        if taken:
            names = ", ".join(sorted(taken)[:5])
            raise Refused("code-taken", f"Already in the book: {names}.", codes=sorted(taken)[:50])

    def _refuse_voided_sources(self, posting: Posting) -> None:
        """Refuse to make a unit out of one that the same posting voids."""
        both = {source for source, _ in posting.flows}.intersection(posting.voided)
        if both:
            unit = self.session.get_one(Unit, min(both))
            raise Refused(
                "voided",
                f"{unit.kind} {unit.code} is voided by this: nothing can be made of it.",
                unit=unit.code,
            )

    def _write_entry(self, posting: Posting) -> int:
        self._last_entry += 1
        members: dict[str, object] = {
            "id": self._last_entry,
            "kind": posting.kind,
            "happened_at": posting.happened_at,
            "recorded_at": self.now,
            "who": self.who,
            "facts": canonical({"said": posting.said, "book": posting.lines().as_facts()}),
            # Of several entries of one act the first carries the key.
            "idempotency_key": None if self.keyed_entry_id else self._key,
            "fingerprint": None if self.keyed_entry_id else self._fingerprint,
            "reverses_id": posting.reverses_id,
            "previous_sha256": self._last_sha256,
        }
        self._last_sha256 = seal(members)
        self.write(Entry, [members | {"sha256": self._last_sha256}])
        return self._last_entry

    def _write_units(self, posting: Posting, entry_id: int) -> None:
        drained = _drawn(posting)
        self.write(Unit, (
            {
                "id": birth.id, "code": birth.code, "kind": birth.kind, "made_g": birth.made_g,
                "left_g": birth.made_g - drained[birth.id], "location_id": birth.location_id,
                "born_entry_id": entry_id,
            }
            for birth in posting.births
        ))  # fmt: skip

    def _write_changes(self, changes: Mapping[int, int]) -> None:
        for unit_id, grams in sorted(changes.items()):
            # The condition repeats what was checked above: it holds whoever else writes.
            written = self._connection.execute(
                _CHANGE, {"unit": unit_id, "grams": grams, "least": -grams}
            )
            if written.rowcount != 1:
                raise Refused("busy", "Somebody else changed that unit; nothing was booked.")

    def _write_voids(self, posting: Posting, entry_id: int) -> None:
        if posting.voided:
            self.session.execute(
                update(Unit)
                .where(among(self.session, col(Unit.id), posting.voided))
                .values(voided_entry_id=entry_id, left_g=0)
                .execution_options(synchronize_session=False)
            )

    def _write_flows(self, posting: Posting) -> None:
        self.write(Flow, (
            {"source_id": source, "target_id": target, "grams": grams}
            for (source, target), grams in posting.flows.items()
        ))  # fmt: skip

    def _write_adjustments(self, posting: Posting, entry_id: int) -> None:
        rows = []
        for each in posting.adjustments:
            self._last_adjustment += 1
            rows.append({
                "id": self._last_adjustment, "unit_id": each.unit_id, "entry_id": entry_id,
                "grams": each.grams, "reason": each.reason, "note": each.note,
                "reverses_id": each.reverses,
            })  # fmt: skip
        self.write(Adjustment, rows)

    def write(self, table: type[SQLModel], rows: Iterable[Mapping[str, object]]) -> None:
        """Write rows that refer to what is written already, without making entities of them."""
        write_rows(self._connection, str(table.__tablename__), rows)


def _changes(posting: Posting) -> Counter[int]:
    """Add up what a posting does to units that were there before it, but for the voided."""
    newborn = {birth.id for birth in posting.births}
    changes: Counter[int] = Counter()
    for (source, _), grams in posting.flows.items():
        changes[source] -= grams
    for change in posting.adjustments:
        changes[change.unit_id] += change.grams
    changes.update(posting.given_back)
    for unit_id in newborn.union(posting.voided):
        changes.pop(unit_id, None)
    return changes


def _drawn(posting: Posting) -> Counter[int]:
    """Add up what flows out of each unit."""
    drawn: Counter[int] = Counter()
    for (source, _), grams in posting.flows.items():
        drawn[source] += grams
    return drawn


def _refuse_held(posting: Posting, there: Iterable[Row[*tuple[Any, ...]]]) -> None:
    drawn = _drawn(posting)
    # What replaces a unit may take out of a held one as much as that took: none of it moves now.
    more = {source for source, grams in drawn.items() if grams > posting.given_back[source]}
    codes = sorted(unit.code for unit in there if unit.held and unit.id in more)
    if codes:
        raise Refused("on-hold", f"On hold: {', '.join(codes)}.", units=codes)


def _refuse_overdraw(
    posting: Posting, changes: Mapping[int, int], there: Iterable[Row[*tuple[Any, ...]]]
) -> None:
    asked = _drawn(posting)
    for unit_id, code, kind, left_g, voided_entry_id, _ in there:
        if voided_entry_id is not None:
            raise Refused("voided", f"{kind} {code} was voided.", unit=code)
        if left_g + changes[unit_id] < 0:
            wanted = asked[unit_id] or -changes[unit_id]
            there_g = left_g + changes[unit_id] + wanted
            raise Refused(
                "insufficient-stock",
                f"{kind} {code} has {kg_text(there_g)} left; {kg_text(wanted)} were asked.",
                unit=code,
                asked_kg=kg_from_grams(wanted),
                left_kg=kg_from_grams(there_g),
            )
