"""Carry-over: what may have touched traced coffee on a machine, without any recorded mass.

A drum, a tumbler or a hopper is never quite empty. The run after a traced run on the same
machine (before it, looking backward) is possible contact, unless a clean-down lies between. One
hop: what ran after that run is not followed, since without an end the whole book would be
reached; what was made from it is.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.tables import Unit
from app.roasting.tables import CleanDown, Machine, MachineRun
from app.sending.tables import Customer, Dispatch
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.tracing.schemas import Direction
from app.tracing.walk import Walk, walk


class Neighbour(NamedTuple):
    """A traced run and the one next to it on the machine."""

    traced: int
    other: int
    machine_id: int
    machine: str
    earlier: datetime
    later: datetime


def possible_contact(session: Session, walked: Walk) -> list[dict[str, object]]:
    """List what may have touched the traced coffee, and what was made from that.

    Nothing that the trace itself reached is listed again. `machine` and `after` (`before`,
    looking backward) stand on the runs next to traced ones and are null on what came of them.
    """
    touched = {
        each.other: each
        for each in _uncleaned(session, _neighbours(session, walked))
        if each.other not in walked.units
    }
    if not touched:
        return []
    beyond = walk(session, list(touched), walked.direction)
    customers = _customers(session, list(beyond.units))
    side = "after" if walked.direction is Direction.FORWARD else "before"
    listed: list[dict[str, object]] = []
    for unit in beyond.units.values():
        if unit.id in walked.units:
            continue
        near = touched.get(unit.id)
        listed.append({
            "code": unit.code, "kind": unit.kind, "made_kg": kg_from_grams(unit.made_g),
            "left_kg": kg_from_grams(unit.left_g), "location": unit.location,
            "held": bool(unit.held), "customer": customers.get(unit.id),
            "machine": near.machine if near else None,
            side: walked.units[near.traced].code if near else None,
        })  # fmt: skip
    return listed


def _neighbours(session: Session, walked: Walk) -> list[Neighbour]:
    """Find the live run next to each traced run, later or earlier on the same machine."""
    forward = walked.direction is Direction.FORWARD
    other, made, found = aliased(MachineRun), aliased(Unit), aliased(MachineRun)
    at, number = col(other.ran_at), col(other.unit_id)
    here_at, here = col(MachineRun.ran_at), col(MachineRun.unit_id)
    beside = (
        or_(at > here_at, and_(at == here_at, number > here))
        if forward
        else or_(at < here_at, and_(at == here_at, number < here))
    )
    nearest_run = (
        select(number)
        .join(made, col(made.id) == number)
        .where(col(other.machine_id) == col(MachineRun.machine_id), beside)
        .where(col(made.voided_entry_id).is_(None))
        .order_by(*((at, number) if forward else (at.desc(), number.desc())))
        .limit(1)
        .correlate(MachineRun)
        .scalar_subquery()
    )
    rows = session.execute(
        select(
            here, col(found.unit_id), col(Machine.id), col(Machine.code), here_at,
            col(found.ran_at),
        )
        .select_from(MachineRun)
        .join(found, col(found.unit_id) == nearest_run)
        .join(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .where(among(session, here, list(walked.units)))
        .order_by(here)
    )  # fmt: skip
    return [
        Neighbour(traced, next_to, machine_id, machine, min(one, two), max(one, two))
        for traced, next_to, machine_id, machine, one, two in rows
    ]


def _uncleaned(session: Session, neighbours: Sequence[Neighbour]) -> list[Neighbour]:
    """Leave out neighbours with a clean-down between the two runs, both ends included."""
    cleaned: Mapping[int, list[datetime]] = defaultdict(list)
    rows = session.execute(
        select(col(CleanDown.machine_id), col(CleanDown.cleaned_at))
        .where(among(session, col(CleanDown.machine_id), [n.machine_id for n in neighbours]))
        .order_by(col(CleanDown.cleaned_at))
    )
    for machine_id, cleaned_at in rows:
        cleaned[machine_id].append(cleaned_at)
    return [each for each in neighbours if not _lies_between(cleaned[each.machine_id], each)]


def _lies_between(cleaned: Sequence[datetime], pair: Neighbour) -> bool:
    first = bisect_left(cleaned, pair.earlier)
    return first < len(cleaned) and cleaned[first] <= pair.later


def _customers(session: Session, unit_ids: Collection[int]) -> Mapping[int, str]:
    rows = session.execute(
        select(col(Dispatch.unit_id), col(Customer.name))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .where(among(session, col(Dispatch.unit_id), unit_ids))
    )
    return {row.unit_id: row.name for row in rows}
