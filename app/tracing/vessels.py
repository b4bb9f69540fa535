"""Machines and places that coffee passed, read for carry-over: a few statements for all of them."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import and_, exists, func, literal, select, true, union_all
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.tables import Unit, UnitKind
from app.ledger.then import alive
from app.places.stays import stays_at
from app.places.tables import MIXING, Location, Move
from app.roasting.silos.tables import PlaceCleanDown
from app.roasting.tables import CleanDown, Machine, MachineRun
from app.shared.db import AnySelect, IdColumn, among
from app.shared.times import UtcDateTime
from app.tracing.nearness import STILL_THERE, Passing, Vessel, Window

_LOOSE: Final = frozenset({UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND})
"""What is in no closed bag. A sack counts: it is tipped into a silo too."""


class _Sort(NamedTuple):
    """A sort of vessel, and where it stands that one was cleaned."""

    card: type[Machine] | type[Location]
    cleaned: type[CleanDown] | type[PlaceCleanDown]
    number: IdColumn
    vessel: IdColumn
    at: Any
    entry: IdColumn
    void: IdColumn
    """The column of `act_void` that names it."""


_MACHINES = _Sort(
    Machine, CleanDown, col(CleanDown.id), col(CleanDown.machine_id), col(CleanDown.cleaned_at),
    col(CleanDown.entry_id), col(ActVoid.clean_down_id),
)  # fmt: skip
_PLACES = _Sort(
    Location, PlaceCleanDown, col(PlaceCleanDown.id), col(PlaceCleanDown.location_id),
    col(PlaceCleanDown.cleaned_at), col(PlaceCleanDown.entry_id), col(ActVoid.place_clean_down_id),
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
    machines, places = _cards(session, unit_ids, upto)
    beside = max((machine.window.runs for machine in machines), default=1)
    runs = _runs(session, unit_ids, beside, upto) if machines else {}
    for card in machines:
        if card.id in runs:
            yield Passed(card.code, None, card.with_passings(runs[card.id], mixes=False))
    stood = _stood(session, [place.id for place in places], upto) if places else {}
    for card in places:
        yield Passed(None, card.code, card.with_passings(stood[card.id], mixes=True))


class _Card(NamedTuple):
    """A machine or a place where coffee mixes."""

    id: int
    code: str
    window: Window
    cleaned: list[datetime]

    def with_passings(self, passings: Sequence[Passing], *, mixes: bool) -> Vessel:
        return Vessel(passings, self.cleaned, self.window, mixes=mixes)


def _cards(
    session: Session, unit_ids: Collection[int], upto: int | None
) -> tuple[Collection[_Card], Collection[_Card]]:
    """Read the cards of all that these units passed, and when each was cleaned."""
    ran = select(col(MachineRun.machine_id)).where(
        among(session, col(MachineRun.unit_id), unit_ids)
    )
    stood = select(col(Move.to_id)).where(among(session, col(Move.unit_id), unit_ids))
    mixing = col(Location.kind).in_(MIXING)
    both = union_all(
        _with_clean_downs(0, _MACHINES, upto).where(col(Machine.id).in_(ran)),
        _with_clean_downs(1, _PLACES, upto).where(col(Location.id).in_(stood), mixing),
    )
    found: tuple[dict[int, _Card], dict[int, _Card]] = ({}, {})
    for sort, number, code, runs, hours, cleaned_at in session.execute(both.order_by("sort", "id")):
        card = found[sort].setdefault(number, _Card(number, code, Window(runs, hours), []))
        if cleaned_at is not None:
            card.cleaned.append(cleaned_at)
    return found[0].values(), found[1].values()


def _with_clean_downs(place: int, sort: _Sort, upto: int | None) -> AnySelect:
    """Select cards, each with its clean-downs, but for those that turned out never to have been."""
    card = sort.card
    voided = exists(
        select(col(ActVoid.entry_id))
        .where(sort.void == sort.number, true() if upto is None else col(ActVoid.entry_id) <= upto)
        .correlate_except(ActVoid)
    )
    known = true() if upto is None else sort.entry <= upto
    return select(
        literal(place).label("sort"), col(card.id).label("id"), col(card.code),
        col(card.carry_over_runs), col(card.carry_over_hours), sort.at,
    ).outerjoin_from(
        card, sort.cleaned, and_(sort.vessel == col(card.id), known, ~voided)
    )  # fmt: skip


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


def _stood(
    session: Session, place_ids: Collection[int], upto: int | None
) -> Mapping[int, list[Passing]]:
    """Read by place what stood there in no closed bag."""
    found: defaultdict[int, list[Passing]] = defaultdict(list)
    for stay in stays_at(session, place_ids, upto):
        if stay.kind in _LOOSE:
            # Whoever books late may say that it was used before it came.
            went = max(stay.came_at, stay.went_at or STILL_THERE)
            found[stay.place_id].append(Passing(stay.came_at, stay.move_id, went, stay.unit_id))
    return found
