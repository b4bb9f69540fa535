"""Where a case starts: units by code, what stood at a place, or what came off a machine.

Another sort of start (a lot of packaging, say) is a member of `StartIn` and a branch of `_named`.
"""

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator
from sqlalchemy import select
from sqlmodel import Session, col

from app.green.readings.tables import Reading
from app.ledger.cards import named
from app.ledger.corrections.queries import newest
from app.ledger.queries import live, units_by_code
from app.ledger.schemas import Asked, Codes
from app.ledger.tables import Entry, Unit, UnitKind
from app.ledger.walk import TOO_FAR, reached_from, read_whole
from app.places.stays import Window, stood_at
from app.places.tables import Location
from app.roasting.machines import MACHINES
from app.roasting.tables import MachineRun
from app.shared.codes import Code, PlaceCode
from app.shared.db import among
from app.shared.problems import Refused
from app.shared.times import MomentIn, MomentKept
from app.tracing.materials import packs_with


class Behind(StrEnum):
    """What kind of source to start at."""

    LOT = "lot"
    SACK = "sack"
    ROAST = "roast"
    BLEND = "blend"


class StartIn(Asked):
    units: Codes | None = None
    """Units by their codes, or"""
    location: PlaceCode | None = None
    """what stood at a place or below it, or"""
    machine: PlaceCode | None = None
    """what came off a machine, or"""
    material_lot: Code | None = None
    """packs that used a lot of packing material, or"""
    reading: Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)] | None = None
    """what a reading was of, by its number: a unit, or what stood at its place then,"""
    since: MomentIn | None = Field(default=None, alias="from")
    until: MomentIn | None = Field(default=None, alias="to")
    behind: Behind | None = None
    """Start at everything of this kind behind them: at the roasts behind a bag, say."""

    @model_validator(mode="after")
    def _one_start(self) -> Self:
        ways = (self.units, self.location, self.machine, self.material_lot, self.reading)
        if sum(each is not None for each in ways) != 1:
            raise ValueError(
                "name either units, or a location, a machine, a material_lot or a reading"
            )
        if self.location is None and self.machine is None and (self.since or self.until):
            raise ValueError("from and to go with a location or a machine")
        if self.since and self.until and self.since > self.until:
            raise ValueError("from is later than to")
        return self

    def as_kept(self) -> dict[str, object]:
        """Write it as a frozen scope keeps it."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)


class KeptStart(StartIn):
    """A start as a frozen scope keeps it."""

    since: MomentKept | None = Field(default=None, alias="from")
    until: MomentKept | None = Field(default=None, alias="to")


def start_units(session: Session, starts: Iterable[StartIn]) -> list[int]:
    """Name the units that several starts name together, oldest first.

    Raises:
        Refused: `not-found` for a start that finds nothing, and for codes what looking up refuses.
    """
    found: set[int] = set()
    for start in starts:
        named_here = {live(unit).id for unit in _named(session, start)}
        found |= _behind(session, start, named_here)
    return sorted(found)


def start_units_now(session: Session, starts: Iterable[StartIn]) -> list[int]:
    """Name what starts that were accepted before name now; what was voided since is left out.

    What was replaced since is still there: as what was booked in its place. What they name is
    never cut short: where it is too much, that is refused.
    """
    found: set[int] = set()
    for start in starts:
        try:
            named = _named(session, start)
            there = standing_of(session, {u.id: u.voided_entry_id is not None for u in named})
            found |= _behind(session, start, there) if there else set()
        except Refused as refused:
            if refused.slug == TOO_FAR:
                raise
            continue  # Everything that once stood there, or was behind it, was voided.
    return sorted(found)


def standing_of(session: Session, voided: Mapping[int, bool]) -> set[int]:
    """Name units that stand, and the newest of what was booked in the place of voided ones."""
    instead = [newest(session, unit) for unit, gone in voided.items() if gone]
    standing = {unit for unit, gone in voided.items() if not gone}
    return standing | {u.id for u in instead if u is not None and u.voided_entry_id is None}


def _named(session: Session, start: StartIn) -> Sequence[Unit]:
    if start.units is not None:
        return list(units_by_code(session, start.units).values())
    if start.material_lot is not None:
        return packs_with(session, start.material_lot)
    if start.reading is not None:
        return _read(session, start.reading)
    if start.location is not None:
        return stood_at(session, start.location, Window(start.since, start.until))
    return _came_off(session, start.machine or "", Window(start.since, start.until))


def _read(session: Session, number: int) -> Sequence[Unit]:
    """Find what a reading was of: a unit, or what stood at its place when it was taken.

    A reading that was taken back since was of the same thing; whether a case still starts there is
    for people to say.
    """
    reading = session.get(Reading, number)
    if reading is None:
        raise Refused("not-found", f"There is no reading {number}.")
    if reading.unit_id is not None:
        return [session.get_one(Unit, reading.unit_id)]
    taken_at = session.get_one(Entry, reading.entry_id).happened_at
    place = session.get_one(Location, reading.location_id)
    return stood_at(session, place.code, Window(taken_at, taken_at))


def _came_off(session: Session, code: str, window: Window) -> Sequence[Unit]:
    machine = named(session, MACHINES, code, "#/start/machine")
    statement = (
        select(Unit)
        .join(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .where(col(MachineRun.machine_id) == machine.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    if window.since is not None:
        statement = statement.where(col(MachineRun.ran_at) >= window.since)
    if window.until is not None:
        statement = statement.where(col(MachineRun.ran_at) <= window.until)
    runs = read_whole(session, statement)
    if not runs:
        raise Refused("not-found", f"Nothing came off {machine.code} during that time.")
    return runs


def _behind(session: Session, start: StartIn, unit_ids: set[int]) -> set[int]:
    if start.behind is None:
        return unit_ids
    kind = UnitKind(start.behind)
    behind = reached_from(among(session, col(Unit.id), unit_ids), forward=False)
    rows = session.execute(
        select(col(Unit.id))
        .join(behind, behind.c.id == col(Unit.id))
        .where(col(Unit.kind) == kind, col(Unit.voided_entry_id).is_(None))
    )
    sources = {row[0] for row in rows}
    if not sources:
        raise Refused("not-found", f"There is no {kind} behind what the case starts at.")
    return sources
