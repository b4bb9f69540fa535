"""What one event is told from: which entry, about which units, and whether it was ever voided."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import IntEnum
from typing import Any, NamedTuple

from sqlalchemy import case, select
from sqlmodel import Session, col

from app.ledger.tables import Entry
from app.settings import Settings
from app.shared.db import among
from app.shared.times import text
from app.standards.epcis import events
from app.standards.epcis.naming import Naming

_GREEN, _ROASTED, _BLENDED = range(3)


class Rank(IntEnum):
    """In which order events of one entry are told: what is there before what is done with it."""

    DECLARED = 0
    BORN = 1
    RECEIVED = 2
    MORE = 3
    """A unit got heavier, so that as much can be taken out."""
    MADE = 4
    SENT = 5
    CASED = 6
    MOVED = 7
    READ = 8
    LESS = 9
    COUNTED = 10
    JUDGED = 11
    HELD = 12
    RELEASED = 13


class Wrong(NamedTuple):
    """By which entry something turned out wrong."""

    entry: int
    why: str | None = None
    by: tuple[str, ...] = ()
    """The events that were booked in its place."""


@dataclass(frozen=True)
class Told:
    """An event with what is needed to choose it and to put it in its place."""

    entry: int
    rank: Rank
    number: int
    """Its place among those of its rank."""
    event: Mapping[str, Any]
    units: frozenset[int]
    """What it is about; it is told whole where any of them is asked for."""
    wrong: Wrong | None = None


class Line(NamedTuple):
    """An entry of the journal, as far as it is told."""

    id: int
    kind: str
    happened_at: datetime
    recorded_at: datetime
    why: str | None
    """Of a void: its reason."""


@dataclass
class Journal:
    """The entries that events are told of."""

    naming: Naming
    lines: dict[int, Line] = field(default_factory=dict)

    def read(self, session: Session, entry_ids: Collection[int]) -> None:
        """Read entries that are not known yet."""
        missing = set(entry_ids) - self.lines.keys()
        is_void = col(Entry.kind) == "void"
        rows = session.execute(
            select(
                col(Entry.id),
                col(Entry.kind),
                col(Entry.happened_at),
                col(Entry.recorded_at),
                case((is_void, col(Entry.facts)), else_=None),
            ).where(among(session, col(Entry.id), missing))
        )
        for number, kind, happened_at, recorded_at, facts in rows:
            why = json.loads(facts)["said"].get("reason") if facts else None
            self.lines[number] = Line(number, kind, happened_at, recorded_at, why)

    def name(self, entry: int, word: str, *number: int) -> str:
        """Name an event for good: by its entry, what it is, and where that is one of several."""
        return self.naming.own("event", entry, word, *number)

    def begin(self, entry: int, word: str, *number: int) -> events.Event:
        """Begin an event of an entry."""
        line = self.lines[entry]
        return events.happened(
            text(line.happened_at), self.name(entry, word, *number), text(line.recorded_at)
        )

    def declared(self, told: Told, wrong: Wrong) -> Told:
        """Repeat an event with the declaration that it was wrong."""
        line = self.lines[wrong.entry]
        event = events.declared_wrong(
            dict(told.event), text(line.recorded_at), wrong.why or line.why, wrong.by
        )
        return Told(wrong.entry, Rank.DECLARED, told.rank * 10**9 + told.number, event, told.units)


def naming_of(settings: Settings) -> Naming:
    """Say how this firm names what it has."""
    items = settings.gs1_item_references
    return Naming(
        settings.epcis_namespace,
        settings.gs1_company_prefix,
        {"lot": items[_GREEN], "sack": items[_GREEN], "roast": items[_ROASTED],
         "blend": items[_BLENDED]},
        settings.gs1_location_reference,
    )  # fmt: skip
