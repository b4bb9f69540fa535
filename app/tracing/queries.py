"""Traces and single units, as they are answered."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Sack, Supplier
from app.ledger.cards import named
from app.ledger.queries import live, on_hold, parts_of, unit_by_code, units_by_code
from app.ledger.tables import Entry, Flow, Unit, UnitKind
from app.places.actions import LOCATIONS
from app.places.tables import Location, Move
from app.sending.tables import Customer, Dispatch, Returned
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.shared.problems import Refused
from app.shared.times import now, text
from app.tracing.carry_over import possible_contact
from app.tracing.rules import (
    SCALE,
    Balance,
    Spread,
    backward_balance,
    backward_content,
    backward_shares,
    forward_balance,
    forward_shares,
    green_content,
    nearest,
)
from app.tracing.schemas import Direction, Part, TraceIn, UnitOut
from app.tracing.walk import Sent, Walk, sent_lines, still_out, traced, walk

CAUTION = (
    "This lists what the records connect. Whether to withdraw or recall is for the food business "
    "to decide with its competent authority."
)
"""Stands on every trace: a record cannot call coffee safe."""


def trace_unit(
    session: Session, code: str, direction: Direction, *, carry_over: bool = False
) -> dict[str, object]:
    """Trace one unit by its code."""
    unit = live(unit_by_code(session, code))
    answer = _trace(session, [unit], direction, carry_over=carry_over)
    return {"of": {"code": unit.code, "kind": unit.kind}} | answer


def trace_set(session: Session, asked: TraceIn) -> dict[str, object]:
    """Trace a set of units as one, or everything that stood at a place during a time."""
    if asked.units is not None:
        found = units_by_code(session, asked.units)
        units = [live(found[code]) for code in asked.units]
    else:
        units = _stood_at(session, asked.location or "", asked.since, asked.until)
    answer = _trace(session, units, asked.direction, carry_over=asked.carry_over)
    return {"of": [{"code": unit.code, "kind": unit.kind} for unit in units]} | answer


def _stood_at(
    session: Session, code: str, since: datetime | None, until: datetime | None
) -> list[Unit]:
    """Find what stood at a place during a time, both ends included.

    A stay begins with the move that brought the unit and ends with the next one, or when the last
    of it was used.
    """
    place = named(session, LOCATIONS, code, "#/location")
    next_move, coming, leaving = aliased(Move), aliased(Entry), aliased(Entry)
    left_by = (
        select(func.min(col(next_move.id)))
        .where(col(next_move.unit_id) == col(Move.unit_id), col(next_move.id) > col(Move.id))
        .correlate(Move)
        .scalar_subquery()
    )
    leave = aliased(Move)
    statement = (
        select(Unit)
        .join(Move, col(Move.unit_id) == col(Unit.id))
        .join(coming, col(coming.id) == col(Move.entry_id))
        .outerjoin(leave, col(leave.id) == left_by)
        .outerjoin(leaving, col(leaving.id) == col(leave.entry_id))
        .where(col(Move.to_id) == place.id, col(Unit.voided_entry_id).is_(None))
        .where(col(coming.happened_at) <= (until or now()))
        .order_by(col(Unit.id))
    )
    if since is not None:
        statement = statement.where(
            or_(col(leaving.happened_at).is_(None), col(leaving.happened_at) >= since),
            or_(col(Unit.left_g) > 0, _last_use() >= since),
        )
    units = list(session.scalars(statement).unique())
    if not units:
        raise Refused("not-found", f"Nothing stood at {place.code} during that time.")
    return units


def _last_use() -> Any:  # noqa: ANN401 - a scalar subquery has no narrower public type
    user, use = aliased(Unit), aliased(Entry)
    return (
        select(func.max(col(use.happened_at)))
        .join(user, col(user.born_entry_id) == col(use.id))
        .join(Flow, col(Flow.target_id) == col(user.id))
        .where(col(Flow.source_id) == col(Unit.id), col(user.voided_entry_id).is_(None))
        .correlate(Unit)
        .scalar_subquery()
    )


def _trace(
    session: Session, start: Sequence[Unit], direction: Direction, *, carry_over: bool
) -> dict[str, object]:
    ids = [unit.id for unit in start]
    if direction is Direction.FORWARD:
        ids += _came_back_from(session, ids)
    walked = walk(session, ids, direction)
    lines = sent_lines(session, walked)
    if direction is Direction.FORWARD:
        shares = forward_shares(list(walked.units), walked.flows, ids)
        made_g = {unit.id: unit.made_g for unit in walked.units.values()}
        green = green_content(list(walked.units), walked.flows, ids, made_g)
        balance = forward_balance(traced(walked), walked.flows, shares, ids, still_out(lines))
        units = _units(walked, shares, shares, green)
    else:
        shares, content, balance = _look_back(walked, ids)
        units = _units(walked, shares, content, content)
    return {
        "direction": direction,
        "units": units,
        "flows": _flows(walked),
        "customers": _customers(session, walked, lines, shares),
        "suppliers": _suppliers(session, walked),
        "balance": _balance(balance),
        "possible_contact": possible_contact(session, walked) if carry_over else None,
        "caution": CAUTION,
    }


def _look_back(walked: Walk, ids: Sequence[int]) -> tuple[Spread, Spread, Balance]:
    order = sorted(walked.units, reverse=True)
    made_g = {unit.id: unit.made_g for unit in walked.units.values()}
    shares = backward_shares(order, walked.flows, {unit: made_g[unit] for unit in ids})
    content = backward_content(order, walked.flows, ids, made_g)
    return shares, content, backward_balance(traced(walked), walked.flows, content, ids)


def _came_back_from(session: Session, ids: Collection[int]) -> list[int]:
    """Add what came back from dispatches among the starts: it was in them."""
    rows = session.scalars(
        select(col(Returned.unit_id))
        .join(Unit, col(Unit.id) == col(Returned.unit_id))
        .where(among(session, col(Returned.dispatch_id), ids))
        .where(col(Unit.voided_entry_id).is_(None))
    )
    return [unit_id for unit_id in rows if unit_id not in ids]


def _units(walked: Walk, shares: Spread, part: Spread, green: Spread) -> list[dict[str, object]]:
    return [
        {
            "code": unit.code,
            "kind": unit.kind,
            "happened_at": text(unit.happened_at),
            "made_kg": kg_from_grams(unit.made_g),
            "left_kg": kg_from_grams(unit.left_g),
            "suspect_kg": kg_from_grams(part.grams(unit.id, unit.made_g)),
            "green_kg": kg_from_grams(green.grams(unit.id, unit.made_g)),
            "share_pct": shares.percent(unit.id),
            "location": unit.location,
            "held": bool(unit.held),
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
        for source, target, grams in sorted(walked.flows, key=lambda flow: (flow[1], flow[0]))
        if source in walked.units
    ]


def _customers(
    session: Session, walked: Walk, lines: Sequence[Sent], shares: Spread
) -> list[dict[str, object]]:
    """Add up by customer what was sent of the reached bags."""
    named_by = _customers_of(session, {line.dispatch for line in lines})
    rows: dict[int, dict[str, Any]] = {}
    suspect: dict[int, int] = {}
    for line in lines:
        customer_id, name, contact = named_by[line.dispatch]
        row = rows.setdefault(customer_id, {
            "customer": name, "contact": contact, "dispatches": [], "bags": 0, "kg": 0,
            "suspect_kg": 0, "returned_bags": 0,
        })  # fmt: skip
        code = walked.units[line.dispatch].code
        if code not in row["dispatches"]:
            row["dispatches"].append(code)
        row["bags"] += line.bags
        row["kg"] += line.grams
        row["returned_bags"] += line.back_bags
        whole = line.dispatch in walked.start
        low = SCALE if whole else shares.bounds[line.pack].low
        suspect[customer_id] = suspect.get(customer_id, 0) + low * line.grams
    for customer_id, row in rows.items():
        row["kg"] = kg_from_grams(row["kg"])
        row["suspect_kg"] = kg_from_grams(nearest(suspect[customer_id], SCALE))
    return sorted(rows.values(), key=lambda row: str(row["customer"]).casefold())


def _customers_of(
    session: Session, dispatches: Collection[int]
) -> Mapping[int, tuple[int, str, str | None]]:
    rows = session.execute(
        select(col(Dispatch.unit_id), col(Customer.id), col(Customer.name), col(Customer.contact))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .where(among(session, col(Dispatch.unit_id), dispatches))
    )
    return {dispatch: (customer, name, contact) for dispatch, customer, name, contact in rows}


def _suppliers(session: Session, walked: Walk) -> list[dict[str, object]]:
    """Name who supplied the reached lots, and the lots of sacks the trace starts at."""
    lots = {unit.id for unit in walked.units.values() if unit.kind == UnitKind.LOT}
    lots.update(session.scalars(
        select(col(Sack.lot_id)).where(among(session, col(Sack.unit_id), list(walked.start)))
    ))  # fmt: skip
    rows = session.execute(
        select(col(Supplier.name), col(Delivery.code), col(Unit.code))
        .select_from(GreenLot)
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .where(among(session, col(GreenLot.unit_id), list(lots)))
        .order_by(col(Delivery.id), col(Unit.id))
    )
    found: dict[tuple[str | None, str], list[str]] = {}
    for name, delivery, code in rows:
        found.setdefault((name, delivery), []).append(code)
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


def unit(session: Session, code: str) -> UnitOut:
    """Read any unit: what it is, what it came from and what was made of it."""
    found = unit_by_code(session, code)
    entry = session.get_one(Entry, found.born_entry_id)
    place = session.get(Location, found.location_id) if found.location_id else None
    held = session.scalar(select(on_hold(col(Unit.id))).where(col(Unit.id) == found.id))
    return UnitOut(
        code=found.code,
        kind=found.kind,
        made_g=found.made_g,
        left_g=found.left_g,
        location=place.code if place else None,
        held=bool(held),
        voided=found.voided_entry_id is not None,
        happened_at=entry.happened_at,
        recorded_at=entry.recorded_at,
        who=entry.who,
        made_from=_parts(parts_of(session, found.id)),
        made_into=_parts(_into(session, found.id)),
    )


def _into(session: Session, unit_id: int) -> Iterable[tuple[str, UnitKind, int]]:
    rows = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Flow.grams))
        .join(Flow, col(Flow.target_id) == col(Unit.id))
        .where(col(Flow.source_id) == unit_id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    )
    return [(code, UnitKind(kind), grams) for code, kind, grams in rows]


def _parts(parts: Iterable[tuple[str, UnitKind, int]]) -> list[Part]:
    return [Part(unit=code, kind=kind, grams=grams) for code, kind, grams in parts]
