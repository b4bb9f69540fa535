"""The scope of a case: everything the records connect with its start, however small the part.

Nothing is pruned by share; the suspect kilograms beside each unit are pro rata. What may only have
touched suspect coffee on a machine is listed apart, with no mass. Where traces learn of further
sources of contact, or of the book as it was at an entry, `_look_ahead` is the one place to pass
that on.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select, union_all
from sqlmodel import Session, col

from app.ledger.tables import UnitKind
from app.packing.tables import Pack
from app.recall.starts import StartIn
from app.sending.tables import Dispatch, Returned
from app.shared.db import among
from app.tracing.carry_over import Near, contacts
from app.tracing.reached import Reached
from app.tracing.rules import (
    Balance,
    Sent,
    backward_balance,
    backward_content,
    forward_balance,
    forward_shares,
)
from app.tracing.schemas import Direction
from app.tracing.spread import Spread, inflows
from app.tracing.walk import (
    Walk,
    by_way_of_dispatches,
    came_back_from,
    sent_lines,
    walk,
)

START, REACHED, CONTACT = "start", "reached", "contact"
"""How a unit came into a scope."""


class ScopeUnit(NamedTuple):
    """A unit of a scope."""

    id: int
    code: str
    kind: str
    place: str
    made_g: int
    left_g: int
    suspect_g: int | None
    bags: int | None
    bags_left: int | None
    contact: Mapping[str, object] | None
    """Of a unit next to a traced one: the machine or the place, and which one was there before."""
    free: bool = False
    """In the house with something left and under no hold; known of today's scope alone."""


class ScopeLine(NamedTuple):
    """Bags of one pack in one dispatch."""

    dispatch_id: int
    dispatch: str
    dispatched_at: datetime
    pack_id: int
    customer_id: int
    place: str
    bags: int
    grams: int
    suspect_g: int | None
    returned_bags: int


@dataclass(frozen=True)
class Scope:
    """What was reached, who was sent of it, and how the trace accounts for the suspect coffee."""

    direction: Direction
    starts: Sequence[StartIn]
    units: Sequence[ScopeUnit]
    lines: Sequence[ScopeLine]
    balance: Mapping[str, int]
    """Grams: what was received and, by figure, where it is."""
    nominal_g: Mapping[int, int] = field(default_factory=dict)
    """Of packs and returns."""


def scope_of(
    session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int], direction: Direction
) -> Scope:
    """Compute a scope from the units its starts name."""
    if direction is Direction.FORWARD:
        return _look_ahead(session, starts, unit_ids)
    return _look_back(session, starts, unit_ids)


def _look_ahead(session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int]) -> Scope:
    back = [bags.unit for bags in came_back_from(session, unit_ids)]
    walked = walk(session, sorted({*unit_ids, *back}), Direction.FORWARD)
    near, beyond = contacts(session, walked, hops=1)
    # What may only have touched traced coffee can run into the trace again.
    touched = {unit.id: unit for each in beyond for unit in each.units.values()}
    lines, apart_lines = _sent(session, walked, touched)
    into = inflows(walked.flows)
    shares = forward_shares(list(walked.units), into, walked.start)
    balance = forward_balance(walked.units, into, shares, walked.start, lines)
    apart = [unit for unit in touched.values() if unit.id not in walked.units]
    bags = _bags(session, [*walked.units, *touched])
    found = [
        _unit(unit, walked.start, bags, shares.grams(unit.id, unit.made_g))
        for unit in walked.units.values()
    ]
    found += [_unit_apart(unit, bags, walked, near[unit.id].near) for unit in apart]
    known: dict[Sent, int | None] = {line: _suspect(walked, shares, line) for line in lines}
    known |= dict.fromkeys(apart_lines)
    listed = _lines(session, known, {**touched, **walked.units})
    nominal_g = {unit: nominal for unit, (_, nominal) in bags.items()}
    return Scope(Direction.FORWARD, starts, found, listed, _figures(balance), nominal_g)


def _sent(
    session: Session, walked: Walk, touched: Mapping[int, Reached]
) -> tuple[list[Sent], list[Sent]]:
    """Read the lines with traced bags, and apart those with bags that were only touched."""
    everything = replace(walked, units={**touched, **walked.units})
    traced: list[Sent] = []
    apart: list[Sent] = []
    for line in sent_lines(session, everything):
        mine = line.pack in walked.units or line.dispatch in walked.start
        (traced if mine else apart).append(line)
    return traced, apart


def _suspect(walked: Walk, shares: Spread, line: Sent) -> int:
    return shares.grams(line.dispatch if line.dispatch in walked.start else line.pack, line.grams)


def _look_back(session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int]) -> Scope:
    back = came_back_from(session, unit_ids)
    walked = walk(session, list(unit_ids), Direction.BACKWARD)
    into = by_way_of_dispatches(walked, back)
    order = sorted(walked.units, reverse=True)
    content = backward_content(order, into, walked.start, walked.units)
    balance = backward_balance(walked.units, into, content, walked.start)
    bags = _bags(session, list(walked.units))
    found = [
        _unit(unit, walked.start, bags, content.grams(unit.id, unit.made_g))
        for unit in walked.units.values()
    ]
    return Scope(Direction.BACKWARD, starts, found, [], _figures(balance))


Bagged = Mapping[int, tuple[int, int]]
"""Of packs and returns: how many bags it was, and what one holds."""


def _bags(session: Session, unit_ids: Collection[int]) -> Bagged:
    rows = session.connection().execute(union_all(*(
        select(col(table.unit_id), col(table.bags), col(table.nominal_g)).where(
            among(session, col(table.unit_id), unit_ids)
        )
        for table in (Pack, Returned)
    )))  # fmt: skip
    return {unit: (bags, nominal) for unit, bags, nominal in rows}


def _unit(unit: Reached, start: Collection[int], bags: Bagged, suspect_g: int) -> ScopeUnit:
    place = START if unit.id in start else REACHED
    return _scope_unit(unit, bags, place, suspect_g, None)


def _unit_apart(unit: Reached, bags: Bagged, walked: Walk, near: Near | None) -> ScopeUnit:
    if near is None:  # made of what was touched
        return _scope_unit(unit, bags, CONTACT, None, None)
    said = {"machine": near.machine, "place": near.place, "after": walked.units[near.by].code}
    beside = {name: value for name, value in said.items() if value is not None}
    return _scope_unit(unit, bags, CONTACT, None, beside)


def _scope_unit(
    unit: Reached,
    bags: Bagged,
    place: str,
    suspect_g: int | None,
    contact: Mapping[str, object] | None,
) -> ScopeUnit:
    made, nominal = bags.get(unit.id, (None, 1))
    left = None if made is None else unit.left_g // nominal
    free = unit.left_g > 0 and not unit.held and unit.kind != UnitKind.DISPATCH
    return ScopeUnit(
        unit.id, unit.code, unit.kind, place, unit.made_g, unit.left_g, suspect_g, made, left,
        contact, free,
    )  # fmt: skip


def _lines(
    session: Session, known: Mapping[Sent, int | None], units: Mapping[int, Reached]
) -> list[ScopeLine]:
    """Name who was sent each line; a line without suspect kilograms is of possible contact."""
    rows = session.execute(
        select(col(Dispatch.unit_id), col(Dispatch.customer_id)).where(
            among(session, col(Dispatch.unit_id), {line.dispatch for line in known})
        )
    )
    customers: Mapping[int, int] = {row[0]: row[1] for row in rows}
    return [
        ScopeLine(
            line.dispatch, units[line.dispatch].code, units[line.dispatch].happened_at, line.pack,
            customers[line.dispatch], CONTACT if suspect_g is None else REACHED, line.bags,
            line.grams, suspect_g, line.back_bags,
        )
        for line, suspect_g in known.items()
    ]  # fmt: skip


def _figures(balance: Balance) -> Mapping[str, int]:
    return {"received": balance.received_g, **balance.figures}
