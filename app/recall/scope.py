"""The scope of a case: everything the records connect with its start, however small the part.

Nothing is pruned by share; the suspect kilograms beside each unit are pro rata. What may only have
touched suspect coffee on a machine is listed apart, with no mass. Where traces learn of further
sources of contact, or of the book as it was at an entry, `_look_ahead` is the one place to pass
that on.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sqlmodel import Session

from app.ledger.tables import UnitKind
from app.recall.starts import StartIn
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
from app.tracing.walk import SentLines, Walk, by_way_of_dispatches, sent_lines, walk

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
    """In the house with something left and under no hold; known of today's scope alone,"""
    destroyed: int = 0
    """as how many of its bags were destroyed there."""
    voided: bool = False
    """Since it was frozen."""


class ScopeLine(NamedTuple):
    """Bags of one pack in one dispatch."""

    dispatch_id: int
    dispatch: str
    dispatched_at: datetime
    pack_id: int
    customer_id: int
    customer: str
    contact: str | None
    """Name and contact are read off the card."""
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


def scope_of(
    session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int], direction: Direction
) -> Scope:
    """Compute a scope from the units its starts name."""
    if direction is Direction.FORWARD:
        return _look_ahead(session, starts, unit_ids)
    return _look_back(session, starts, unit_ids)


def _look_ahead(session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int]) -> Scope:
    walked = walk(session, unit_ids, Direction.FORWARD)
    near, touched = contacts(session, walked, hops=1)
    sent = sent_lines(session, walked, touched)
    into = inflows(walked.flows)
    shares = forward_shares(list(walked.units), into, walked.start)
    balance = forward_balance(walked.units, into, shares, walked.start, sent.traced)
    found = [
        _unit(unit, walked.start, shares.grams(unit.id, unit.made_g))
        for unit in walked.units.values()
    ]
    found += [
        _unit_apart(unit, walked, near[unit.id].near)
        for unit in touched.values()
        if unit.id not in walked.units
    ]
    units = {**touched, **walked.units}
    lines = [
        *(_line(units, sent, line, _suspect(walked, shares, line)) for line in sent.traced),
        *(_line(units, sent, line, None) for line in sent.touched),
    ]
    return Scope(Direction.FORWARD, starts, found, lines, _figures(balance))


def _suspect(walked: Walk, shares: Spread, line: Sent) -> int:
    return shares.grams(line.dispatch if line.dispatch in walked.start else line.pack, line.grams)


def _look_back(session: Session, starts: Sequence[StartIn], unit_ids: Sequence[int]) -> Scope:
    walked = walk(session, unit_ids, Direction.BACKWARD)
    into = by_way_of_dispatches(walked)
    order = sorted(walked.units, reverse=True)
    content = backward_content(order, into, walked.start, walked.units)
    balance = backward_balance(walked.units, into, content, walked.start)
    found = [
        _unit(unit, walked.start, content.grams(unit.id, unit.made_g))
        for unit in walked.units.values()
    ]
    return Scope(Direction.BACKWARD, starts, found, [], _figures(balance))


def _unit(unit: Reached, start: Collection[int], suspect_g: int) -> ScopeUnit:
    place = START if unit.id in start else REACHED
    return _scope_unit(unit, place, suspect_g, None)


def _unit_apart(unit: Reached, walked: Walk, near: Near | None) -> ScopeUnit:
    if near is None:  # made of what was touched
        return _scope_unit(unit, CONTACT, None, None)
    said = {"machine": near.machine, "place": near.place, "after": walked.units[near.by].code}
    beside = {name: value for name, value in said.items() if value is not None}
    return _scope_unit(unit, CONTACT, None, beside)


def _scope_unit(
    unit: Reached, place: str, suspect_g: int | None, contact: Mapping[str, object] | None
) -> ScopeUnit:
    free = unit.left_g > 0 and not unit.held and unit.kind != UnitKind.DISPATCH
    return ScopeUnit(
        unit.id, unit.code, unit.kind, place, unit.made_g, unit.left_g, suspect_g, unit.bags,
        unit.left_g // unit.nominal_g if unit.nominal_g else None, contact, free,
        max(unit.destroyed_g, 0) // unit.nominal_g if unit.nominal_g else 0,
    )  # fmt: skip


def _line(
    units: Mapping[int, Reached], sent: SentLines, line: Sent, suspect_g: int | None
) -> ScopeLine:
    """Show a line; one without suspect kilograms is of possible contact."""
    dispatch, to = units[line.dispatch], sent.to[line.dispatch]
    return ScopeLine(
        line.dispatch, dispatch.code, dispatch.happened_at, line.pack, to.customer, to.name,
        to.contact, CONTACT if suspect_g is None else REACHED, line.bags, line.grams, suspect_g,
        line.back_bags,
    )  # fmt: skip


def _figures(balance: Balance) -> Mapping[str, int]:
    return {"received": balance.received_g, **balance.figures}
