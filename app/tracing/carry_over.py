"""Carry-over: what may have touched traced coffee, without any recorded mass.

A drum, a tumbler, a line, a silo, a hopper or a tray is never quite empty. What ran over the same
machine after a traced run (before it, looking backward), and what stood in the same place together
with traced coffee or came after it, is possible contact, unless a clean-down lies between. How many
runs far and for how long stands on the card of the machine or the place. What was made of such
coffee is possible contact too. That is one hop; the next one starts from what it found. Without an
end the whole book would be reached, so hops are counted and the trace says how many it took.
"""

from collections.abc import Collection, Mapping
from typing import Final, NamedTuple

from sqlmodel import Session

from app.ledger.walk import most_reached, refuse_beyond
from app.shared.mass import kg_from_grams
from app.tracing.reached import Reached, reached
from app.tracing.schemas import Direction
from app.tracing.vessels import passed_by
from app.tracing.walk import SentTo, Walk


class Near(NamedTuple):
    """Where and by which coffee a unit may have been touched."""

    machine: str | None
    place: str | None
    by: int


class Contact(NamedTuple):
    """A unit that may have been touched, or that has such a unit in it."""

    unit: Reached
    hop: int
    near: Near | None
    """None on what was made of it."""


class Beside(NamedTuple):
    """Possible contact, and everything that was walked to from what was touched."""

    found: Mapping[int, Contact]
    beyond: Mapping[int, Reached]
    """What may only have been touched can run into the trace again."""


NOTHING: Final = Beside({}, {})


def contacts(session: Session, walked: Walk, hops: int, upto: int | None = None) -> Beside:
    """Find possible contact hop by hop, the nearest first.

    Nothing that the trace itself reached is found again, and nothing twice: what is reached at
    several hops has the least one. With `upto` it is what the book knew once it had that entry.
    """
    found: dict[int, Contact] = {}
    beyond: dict[int, Reached] = {}
    most = most_reached(session)
    latest: Collection[int] = walked.units.keys()
    for hop in range(1, hops + 1):
        touched = {
            unit: near
            for unit, near in _touched(session, latest, walked.direction, upto).items()
            if unit not in walked.units and unit not in found
        }
        if not touched:
            break
        further = {unit.id: unit for unit in reached(session, touched, walked.direction, upto)}
        new = {
            unit.id: Contact(unit, hop, touched.get(unit.id))
            for unit in further.values()
            if unit.id not in walked.units and unit.id not in found
        }
        found |= new
        beyond |= further
        refuse_beyond(most, walked.units.keys() | found.keys())
        latest = new.keys()
    return Beside(found, beyond)


def _touched(
    session: Session, unit_ids: Collection[int], direction: Direction, upto: int | None
) -> dict[int, Near]:
    """Name what came near these units, each by the first machine or else place where it did."""
    touched: dict[int, Near] = {}
    forward = direction is Direction.FORWARD
    mine = set(unit_ids)
    for passed in passed_by(session, mine, upto):
        vessel = passed.vessel
        for i, here in enumerate(vessel.passings):
            if here.unit in mine:
                for other in vessel.later(i) if forward else vessel.earlier(i):
                    if other.unit not in mine:
                        touched.setdefault(
                            other.unit, Near(passed.machine, passed.place, here.unit)
                        )
    return touched


def told(
    walked: Walk, found: Mapping[int, Contact], to: Mapping[int, SentTo]
) -> list[dict[str, object]]:
    """List what may have touched the traced coffee, and what was made from that.

    `machine` or `place`, and `after` (`before`, looking backward), stand on what was touched and
    are null on what came of it.
    """
    side = "after" if walked.direction is Direction.FORWARD else "before"
    codes = {unit.id: unit.code for unit in walked.units.values()}
    codes |= {unit_id: contact.unit.code for unit_id, contact in found.items()}
    return [
        {
            "code": unit.code, "kind": unit.kind, "hop": hop, "made_kg": kg_from_grams(unit.made_g),
            "left_kg": kg_from_grams(unit.left_g), "location": unit.location,
            "held": bool(unit.held), "customer": to[unit.id].name if unit.id in to else None,
            "machine": near.machine if near else None, "place": near.place if near else None,
            side: codes[near.by] if near else None,
        }
        for unit, hop, near in found.values()
    ]  # fmt: skip
