"""Machines and places that coffee passed, read for carry-over: a few statements for all of them."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import and_, func, literal, select, true
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.tables import Unit, UnitKind
from app.ledger.then import alive
from app.places.stays import stays_at
from app.places.tables import MIXING, Location, Move
from app.roasting.silos.tables import PlaceCleanDown
from app.roasting.tables import CleanDown, Machine, MachineRun
from app.shared.db import IdColumn, among
from app.shared.times import UtcDateTime
from app.tracing.nearness import STILL_THERE, Passing, Vessel, Window

_LOOSE: Final = frozenset({UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND})
"""What is in no closed bag. A sack counts: it is tipped into a silo too."""


class _Cleaned(NamedTuple):
    """Where it stands that something was cleaned."""

    number: IdColumn
    vessel: IdColumn
    at: Any
    entry: IdColumn
    void: IdColumn
    """The column of `act_void` that names it."""


_MACHINE_CLEANED = _Cleaned(
    col(CleanDown.id), col(CleanDown.machine_id), col(CleanDown.cleaned_at),
    col(CleanDown.entry_id), col(ActVoid.clean_down_id),
)  # fmt: skip
_PLACE_CLEANED = _Cleaned(
    col(PlaceCleanDown.id), col(PlaceCleanDown.location_id), col(PlaceCleanDown.cleaned_at),
    col(PlaceCleanDown.entry_id), col(ActVoid.place_clean_down_id),
)  # fmt: skip


@dataclass(frozen=True)
class Passed:
    """A machine or a place by its code, with what passed it around some units."""

    machine: str | None
    place: str | None
    vessel: Vessel


def passed_by(
    session: Session, unit_ids: Collection[int], upto: int | None = None
) -> Iterator[Passed]:
    """Read every machine and every place where coffee mixes that these units passed.

    Of a machine it reads the runs from the first of the units to the last, and as many beside them
    as its window is wide. With `upto` it is what the book knew once it had that entry.
    """
    yield from _machines(session, unit_ids, upto)
    yield from _places(session, unit_ids, upto)


def _machines(session: Session, unit_ids: Collection[int], upto: int | None) -> Iterator[Passed]:
    cards = session.execute(
        select(
            col(Machine.id),
            col(Machine.code),
            col(Machine.carry_over_runs),
            col(Machine.carry_over_hours),
        ).order_by(col(Machine.id))
    ).all()
    beside = max((card.carry_over_runs for card in cards), default=1)
    runs = _runs(session, unit_ids, beside, upto)
    cleaned = _cleaned(session, _MACHINE_CLEANED, runs, upto)
    for card in cards:
        if card.id in runs:
            window = Window(card.carry_over_runs, card.carry_over_hours)
            vessel = Vessel(runs[card.id], cleaned[card.id], window, mixes=False)
            yield Passed(card.code, None, vessel)


def _runs(
    session: Session, unit_ids: Collection[int], beside: int, upto: int | None
) -> Mapping[int, list[Passing]]:
    """Read by machine the live runs from the first to the last of some units, and those beside."""
    machine, at = col(MachineRun.machine_id), col(MachineRun.ran_at)
    span = (
        select(machine.label("machine"), func.min(at).label("first"), func.max(at).label("last"))
        .where(among(session, col(MachineRun.unit_id), unit_ids))
        .group_by(machine)
        .cte("span")
    )
    other, made = aliased(MachineRun), aliased(Unit)
    that = (
        select(col(other.ran_at))
        .join(made, col(made.id) == col(other.unit_id))
        .where(col(other.machine_id) == span.c.machine, alive(made, upto))
        .limit(1)
        .offset(beside - 1)
        .correlate(span)
    )
    before = that.where(col(other.ran_at) < span.c.first).order_by(col(other.ran_at).desc())
    after = that.where(col(other.ran_at) > span.c.last).order_by(col(other.ran_at))
    long_ago = literal(datetime.min.replace(tzinfo=STILL_THERE.tzinfo), UtcDateTime())
    wider = select(
        span.c.machine,
        func.coalesce(before.scalar_subquery(), long_ago).label("first"),
        func.coalesce(after.scalar_subquery(), literal(STILL_THERE, UtcDateTime())).label("last"),
    ).cte("wider")
    rows = session.connection().execute(
        select(machine, at, col(MachineRun.unit_id))
        .join(wider, wider.c.machine == machine)
        .join(Unit, col(Unit.id) == col(MachineRun.unit_id))
        .where(at >= wider.c.first, at <= wider.c.last, alive(Unit, upto))
    )
    found: defaultdict[int, list[Passing]] = defaultdict(list)
    for machine_id, ran_at, unit_id in rows:
        found[machine_id].append(Passing(ran_at, unit_id, ran_at, unit_id))
    return found


def _places(session: Session, unit_ids: Collection[int], upto: int | None) -> Iterator[Passed]:
    cards = session.execute(
        select(
            col(Location.id),
            col(Location.code),
            col(Location.carry_over_runs),
            col(Location.carry_over_hours),
        )
        .join(Move, col(Move.to_id) == col(Location.id))
        .where(among(session, col(Move.unit_id), unit_ids), col(Location.kind).in_(MIXING))
        .distinct()
        .order_by(col(Location.id))
    ).all()
    if not cards:
        return
    ids = [card.id for card in cards]
    stood: defaultdict[int, list[Passing]] = defaultdict(list)
    for stay in stays_at(session, ids, upto):
        if stay.kind not in _LOOSE:
            continue
        # Whoever books late may say that it was used before it came.
        went = max(stay.came_at, stay.went_at or STILL_THERE)
        stood[stay.place_id].append(Passing(stay.came_at, stay.move_id, went, stay.unit_id))
    cleaned = _cleaned(session, _PLACE_CLEANED, ids, upto)
    for card in cards:
        window = Window(card.carry_over_runs, card.carry_over_hours)
        yield Passed(None, card.code, Vessel(stood[card.id], cleaned[card.id], window, mixes=True))


def _cleaned(
    session: Session, cleaned: _Cleaned, ids: Collection[int], upto: int | None
) -> Mapping[int, list[datetime]]:
    """Read when each was cleaned, but for clean-downs that turned out never to have been."""
    known = true() if upto is None else cleaned.entry <= upto
    voided = true() if upto is None else col(ActVoid.entry_id) <= upto
    found: defaultdict[int, list[datetime]] = defaultdict(list)
    for vessel_id, cleaned_at in session.execute(
        select(cleaned.vessel, cleaned.at)
        .outerjoin(ActVoid, and_(cleaned.void == cleaned.number, voided))
        .where(among(session, cleaned.vessel, ids), known, col(ActVoid.entry_id).is_(None))
    ):
        found[vessel_id].append(cleaned_at)
    return found
