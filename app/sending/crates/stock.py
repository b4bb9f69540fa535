"""How many crates are where, and moving them as part of an entry."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import bindparam, exists, func, or_, select
from sqlmodel import Session, col

from app.ledger.cards import named
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen
from app.ledger.tables import Unit
from app.sending.crates.schemas import CratesIn, CratesSent
from app.sending.crates.shelf import CRATE_KINDS
from app.sending.crates.tables import CrateAct, CrateKind, CrateMovement
from app.sending.tables import Customer
from app.shared.db import among, next_number
from app.shared.problems import FieldRefused, Refused

VOIDED = or_(
    exists(
        select(col(ActVoid.entry_id))
        .where(col(ActVoid.crates_entry_id) == col(CrateMovement.entry_id))
        .correlate(CrateMovement)
    ),
    col(Unit.voided_entry_id).is_not(None),
)
"""Tells of a movement, beside the unit it went with, that it was voided or went with what was."""
COUNTS = ~VOIDED

_NOT_GONE = or_(
    col(CrateMovement.unit_id).is_(None),
    col(CrateMovement.unit_id).not_in(bindparam("gone", expanding=True)),
)

_HOUSE = (
    select(col(CrateMovement.kind_id), func.sum(col(CrateMovement.house)))
    .outerjoin(Unit, col(Unit.id) == col(CrateMovement.unit_id))
    .where(COUNTS, _NOT_GONE, col(CrateMovement.kind_id).in_(bindparam("kinds", expanding=True)))
    .group_by(col(CrateMovement.kind_id))
)
_AWAY = (
    select(col(CrateMovement.kind_id), func.sum(col(CrateMovement.away)))
    .outerjoin(Unit, col(Unit.id) == col(CrateMovement.unit_id))
    .where(COUNTS, _NOT_GONE, col(CrateMovement.kind_id).in_(bindparam("kinds", expanding=True)))
    .where(col(CrateMovement.customer_id) == bindparam("customer"))
    .group_by(col(CrateMovement.kind_id))
)


def in_house(
    session: Session, kind_ids: Collection[int], gone: Collection[int] = ()
) -> Mapping[int, int]:
    """Count the crates of each kind that are in the house."""
    rows = session.execute(_HOUSE, {"kinds": list(kind_ids), "gone": list(gone)})
    return {kind_id: int(count) for kind_id, count in rows}


def at_customer(
    session: Session, customer_id: int, kind_ids: Collection[int], gone: Collection[int] = ()
) -> Mapping[int, int]:
    """Count the crates of each kind that one customer has."""
    asked = {"kinds": list(kind_ids), "customer": customer_id, "gone": list(gone)}
    rows = session.execute(_AWAY, asked)
    return {kind_id: int(count) for kind_id, count in rows}


class Moved(NamedTuple):
    """Crates of one kind, and how many there were before on either side."""

    kind: CrateKind
    crates: int
    house: int
    away: int


def look_up(
    session: Session,
    crates: Sequence[CratesIn],
    customer: Customer,
    act: CrateAct,
    gone: Collection[int] = (),
) -> list[Moved]:
    """Find crates that are to go out or come back, and refuse more than there are.

    What moved with units that are gone, since others are booked in their place, never moved.

    Raises:
        Refused: `crates-short`; `unknown-reference`.
    """
    if not crates:
        return []
    assert customer.id is not None  # noqa: S101 - read from the database
    kinds = [
        named(session, CRATE_KINDS, each.kind, f"#/crates/{place}/kind")
        for place, each in enumerate(crates)
    ]
    ids = [kind.id or 0 for kind in kinds]
    if len(set(ids)) < len(ids):
        # By name and by number: the body alone cannot tell.
        raise FieldRefused("#/crates", "each kind of crate is named once")
    house, away = in_house(session, ids, gone), at_customer(session, customer.id, ids, gone)
    moved = [
        Moved(kind, each.count, house.get(kind.id or 0, 0), away.get(kind.id or 0, 0))
        for kind, each in zip(kinds, crates, strict=True)
    ]
    for each in moved:
        _refuse_short(each, customer, act)
    return moved


def _refuse_short(moved: Moved, customer: Customer, act: CrateAct) -> None:
    out = act is CrateAct.OUT
    there = moved.house if out else moved.away
    if moved.crates <= there:
        return
    said = (
        f"{there} crates {moved.kind.name} are in the house; {moved.crates} cannot go out"
        if out
        else f"{customer.name} has {there} crates {moved.kind.name}; "
        f"{moved.crates} cannot come back"
    )
    raise Refused(
        "crates-short", f"{said}.", kind=moved.kind.name, customer=customer.name,
        asked=moved.crates, there=there,
    )  # fmt: skip


def write_moves(  # noqa: PLR0917 - one row's members
    pen: Pen,
    moved: Sequence[Moved],
    customer: Customer,
    act: CrateAct,
    entry_id: int,
    unit_id: int | None = None,
) -> list[CratesSent]:
    """Move crates to a customer or back, as part of an entry that is already written."""
    if not moved:
        return []
    first = next_number(pen.session, col(CrateMovement.id))
    sign = 1 if act is CrateAct.OUT else -1
    pen.write(CrateMovement, [
        {"id": first + place, "kind_id": each.kind.id, "act": act, "customer_id": customer.id,
         "house": -sign * each.crates, "away": sign * each.crates, "unit_id": unit_id,
         "reason": None, "entry_id": entry_id}
        for place, each in enumerate(moved)
    ])  # fmt: skip
    return [CratesSent(kind=each.kind.name, count=each.crates) for each in moved]


def crates_with(session: Session, unit_ids: Collection[int]) -> Iterator[CratesSent]:
    """Name the crates that went or came with dispatches or returns."""
    rows = session.execute(
        select(col(CrateKind.name), col(CrateMovement.house))
        .join(CrateKind, col(CrateKind.id) == col(CrateMovement.kind_id))
        .where(among(session, col(CrateMovement.unit_id), unit_ids))
        .order_by(col(CrateMovement.id))
    )
    return (CratesSent(kind=name, count=abs(count)) for name, count in rows)
