"""Traces and single units, as they are answered."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Sack, Supplier
from app.ledger.corrections.queries import replaces
from app.ledger.queries import unit_by_code, units_by_code
from app.ledger.tables import Unit, UnitKind
from app.ledger.then import AsOf, as_of, standing
from app.places.stays import Window, stood_at
from app.shared.db import Among, AnySelect, OverIds
from app.shared.mass import kg_from_grams
from app.shared.speech import N_
from app.shared.times import text
from app.tracing.carry_over import NOTHING, contacts, told
from app.tracing.materials import materials_of, packs_with
from app.tracing.rules import (
    Balance,
    Sent,
    backward_balance,
    backward_content,
    backward_shares,
    forward_balance,
    forward_shares,
    green_content,
    suspect_green,
)
from app.tracing.schemas import Direction, TraceIn
from app.tracing.spread import Spread, grams_of_both, inflows
from app.tracing.walk import SentLines, Walk, by_way_of_dispatches, sent_lines, walk

_GREEN = (UnitKind.LOT, UnitKind.SACK)

CAUTION = N_(
    "This lists what the records connect. Whether to withdraw or recall is for the food business "
    "to decide with its competent authority."
)
"""Stands on every trace: a record cannot call coffee safe."""


def trace_unit(
    session: Session,
    code: str,
    direction: Direction,
    *,
    hops: int = 0,
    moment: datetime | None = None,
) -> dict[str, object]:
    """Trace one unit by its code, or what was booked in its place."""
    when = as_of(session, moment)
    start = _start(session, unit_by_code(session, code), when)
    answer = _traced(session, [start.unit.id], direction, when, hops).answer
    return {"of": start.as_told} | answer


def trace_set(session: Session, asked: TraceIn) -> dict[str, object]:
    """Trace a set of units as one, what stood at a place, or what a packing material is in."""
    return traced(session, asked).answer


class Supplied(NamedTuple):
    """A lot, where it grew, and how it came."""

    code: str
    name: str
    origin: str
    producer: str | None
    supplier: str | None
    delivery: str


class Traced(NamedTuple):
    """A trace as it is answered, and what it was worked out of."""

    answer: dict[str, object]
    walked: Walk
    sent: SentLines
    lots: Sequence[Supplied]


def traced(session: Session, asked: TraceIn) -> Traced:
    """Trace a set, and keep what was read for it."""
    when = as_of(session, asked.as_of)
    starts = starts_of(session, asked, when)
    hops = asked.hops if asked.carry_over else 0
    found = _traced(session, {start.unit.id for start in starts}, asked.direction, when, hops)
    return found._replace(answer={"of": [start.as_told for start in starts]} | found.answer)


def starts_of(session: Session, asked: TraceIn, when: AsOf) -> list["Start"]:
    """Name the units that a trace of a set begins at."""
    if asked.material_lot is not None:
        packs = packs_with(session, asked.material_lot, when.upto)
        return [Start(unit, _told(unit)) for unit in packs]
    if asked.units is not None:
        found = units_by_code(session, asked.units)
        return [_start(session, found[code], when) for code in asked.units]
    window = Window(asked.since, asked.until)
    units = stood_at(session, asked.location or "", window, upto=when.upto)
    return [Start(unit, _told(unit)) for unit in units]


class Start(NamedTuple):
    """Where a trace begins."""

    unit: Unit
    as_told: dict[str, object]


def _told(unit: Unit) -> dict[str, object]:
    return {"code": unit.code, "kind": unit.kind}


def _start(session: Session, asked: Unit, when: AsOf) -> Start:
    """Begin at a unit or, where it was replaced, at what was booked in its place."""
    unit = standing(session, asked, when)
    if unit is asked:
        return Start(unit, _told(unit))
    followed = {"asked": asked.code, "replaces": replaces(session, unit.id)}
    return Start(unit, _told(unit) | followed)


def _traced(
    session: Session, asked: Collection[int], direction: Direction, when: AsOf, hops: int
) -> Traced:
    walked = walk(session, asked, direction, when.upto)
    beside = contacts(session, walked, hops, when.upto) if hops else NOTHING
    sent = sent_lines(session, walked, beside.beyond)
    ahead = direction is Direction.FORWARD
    found = _look_ahead(session, walked, sent.traced) if ahead else _look_back(walked)
    lots = _supplied(session, walked)
    answer = {
        "direction": direction,
        **when.as_told(),
        "units": _units(walked, found),
        "flows": _flows(walked),
        "customers": _customers(walked, sent, found.part),
        "suppliers": _suppliers(lots),
        "materials": materials_of(
            session, ((u.id, u.code) for u in walked.units.values() if u.kind == UnitKind.PACK)
        ),
        "balance": _balance(found.balance),
        "possible_contact": told(walked, beside.found, sent.to) if hops else None,
        "caution": CAUTION,
    }
    return Traced(answer, walked, sent, lots)


class _Found(NamedTuple):
    """What the arithmetic finds about the reached units."""

    shares: Spread
    part: Spread
    """Forward the shares; backward the part of a unit that went into what was asked."""
    green_g: Callable[[int, int], int]
    """Green behind that part of a unit of so many grams."""
    balance: Balance


def _look_ahead(session: Session, walked: Walk, lines: Iterable[Sent]) -> _Found:
    order = list(walked.units)
    into = inflows(walked.flows)
    shares = forward_shares(order, into, walked.start)
    made_g = {unit.id: unit.made_g for unit in walked.units.values()}
    if all(walked.units[unit].kind in _GREEN for unit in walked.start):
        green = green_content(order, into, walked.start, made_g)
    else:
        behind = walk(session, walked.start, Direction.BACKWARD, walked.upto)
        made_g |= {unit.id: unit.made_g for unit in behind.units.values()}
        green = suspect_green(order, into, walked.start, made_g, inflows(behind.flows))
    balance = forward_balance(walked.units, into, shares, walked.start, lines)
    return _Found(shares, shares, green.grams, balance)


def _look_back(walked: Walk) -> _Found:
    into = by_way_of_dispatches(walked)
    order = sorted(walked.units, reverse=True)
    made_g = {unit.id: unit.made_g for unit in walked.units.values()}
    shares = backward_shares(order, into, {unit: made_g[unit] for unit in walked.start})
    content = backward_content(order, into, walked.start, walked.units)
    eldest = [unit for unit in order if unit not in into]
    green = green_content(order[::-1], into, eldest, made_g)
    balance = backward_balance(walked.units, into, content, walked.start)
    return _Found(shares, content, partial(grams_of_both, content, green), balance)


def _units(walked: Walk, found: _Found) -> list[dict[str, object]]:
    return [
        {
            "code": unit.code,
            "kind": unit.kind,
            "happened_at": text(unit.happened_at),
            "recorded_at": text(unit.recorded_at),
            "made_kg": kg_from_grams(unit.made_g),
            "left_kg": kg_from_grams(unit.left_g),
            "suspect_kg": kg_from_grams(found.part.grams(unit.id, unit.made_g)),
            "green_kg": kg_from_grams(found.green_g(unit.id, unit.made_g)),
            "share_pct": found.shares.percent(unit.id),
            "location": unit.location,
            "held": unit.held,
        }
        for unit in walked.units.values()
    ]


def _flows(walked: Walk) -> list[dict[str, object]]:
    """Name the flows between reached units, oldest target first."""
    return [
        {
            "source": walked.units[source].code,
            "target": walked.units[target].code,
            "kg": kg_from_grams(grams),
        }
        for source, target, grams in walked.flows
        if source in walked.units
    ]


@dataclass
class _Tally:
    """What one customer was sent of the reached bags."""

    name: str
    contact: str | None
    kind: str
    dispatches: dict[str, None] = field(default_factory=dict)
    """Their codes, each once, in order."""
    bags: int = 0
    grams: int = 0
    back_bags: int = 0
    held_g: Counter[int] = field(default_factory=Counter)
    """Grams by the unit whose share counts for them."""
    sold_on: set[date] = field(default_factory=set)


def _customers(walked: Walk, sent: SentLines, part: Spread) -> list[dict[str, object]]:
    """Add up by customer what was sent of the reached bags."""
    tallies: dict[int, _Tally] = {}
    for line in sent.traced:
        to = sent.to[line.dispatch]
        tally = tallies.get(to.customer)
        if tally is None:
            tally = tallies[to.customer] = _Tally(to.name, to.contact, to.kind)
        if to.sold_on is not None:
            tally.sold_on.add(to.sold_on)
        tally.dispatches[walked.units[line.dispatch].code] = None
        tally.bags += line.bags
        tally.grams += line.grams
        tally.back_bags += line.back_bags
        tally.held_g[line.dispatch if line.dispatch in walked.start else line.pack] += line.grams
    return [
        {
            "customer": tally.name,
            "contact": tally.contact,
            "kind": tally.kind,
            "sold_on": sorted(tally.sold_on),
            "dispatches": list(tally.dispatches),
            "bags": tally.bags,
            "kg": kg_from_grams(tally.grams),
            "suspect_kg": kg_from_grams(part.total(tally.held_g)),
            "returned_bags": tally.back_bags,
        }
        for tally in sorted(tallies.values(), key=lambda tally: tally.name.casefold())
    ]


def _supplied(session: Session, walked: Walk) -> list[Supplied]:
    """Read the reached lots, and the lots of sacks the trace starts at, by delivery."""
    ids = {unit.id for unit in walked.units.values() if unit.kind == UnitKind.LOT}
    ids |= {unit for unit in walked.start if walked.units[unit].kind == UnitKind.SACK}
    return [Supplied(*row) for row in _lots.rows(session, ids)]


@OverIds
def _lots(among: Among) -> AnySelect:
    of_sacks = select(col(Sack.lot_id)).where(among(col(Sack.unit_id)))
    lots = select(col(GreenLot.unit_id)).where(among(col(GreenLot.unit_id))).union(of_sacks)
    return (
        select(
            col(Unit.code),
            col(GreenLot.name),
            col(GreenLot.origin),
            col(GreenLot.producer),
            col(Supplier.name),
            col(Delivery.code),
        )
        .select_from(GreenLot)
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .where(col(GreenLot.unit_id).in_(lots))
        .order_by(col(Delivery.id), col(Unit.id))
    )


def _suppliers(lots: Iterable[Supplied]) -> list[dict[str, object]]:
    """Name who supplied the lots."""
    found: dict[tuple[str | None, str], list[str]] = {}
    for lot in lots:
        found.setdefault((lot.supplier, lot.delivery), []).append(lot.code)
    return [
        {"supplier": name, "delivery": delivery, "lots": codes}
        for (name, delivery), codes in found.items()
    ]


def _balance(balance: Balance) -> dict[str, Decimal]:
    named_kg = {f"{name}_kg": kg_from_grams(grams) for name, grams in balance.figures.items()}
    return {
        "received_kg": kg_from_grams(balance.received_g),
        **named_kg,
        "asked_kg": named_kg.get("asked_kg", kg_from_grams(0)),
        "accounted_pct": balance.accounted_pct,
    }
