"""Holds that arrivals place: on whole lots until they are looked at, on some sacks for longer."""

from collections.abc import Collection
from typing import Final

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.tables import Condition, GreenLot
from app.ledger.actions import place_hold
from app.ledger.posting import Pen
from app.ledger.tables import Entry, Hold, HoldUnit, Unit
from app.shared.db import among
from app.shared.speech import N_

DELIVERY: Final = "delivery"
"""The kind of the entry that a delivery is booked by."""
ARRIVAL: Final = N_("arrived: count, weigh, inspect and measure, then release")
"""The reason of the hold that new lots start with."""
_WET: Final = N_(
    "arrived wet or mouldy: keep apart, do not blend away, decide with a competent person"
)
_SWEPT: Final = N_("sweepings: weighed apart, never merged into sound coffee")

WET: Final = frozenset({Condition.WET, Condition.MOULDY})
"""How sacks come that are held apart from their lot."""


def hold_apart(pen: Pen, entry_id: int, *, wet: Collection[int], swept: Collection[int]) -> None:
    """Hold sweepings always and wet or mouldy sacks by the setting, each apart from their lot.

    So releasing the lot leaves them held.
    """
    if wet and pen.settings.hold_wet_on_arrival:
        place_hold(pen, entry_id, _units(pen.session, wet), _WET)
    if swept:
        place_hold(pen, entry_id, _units(pen.session, swept), _SWEPT)


def _units(session: Session, ids: Collection[int]) -> list[Unit]:
    found = select(Unit).where(among(session, col(Unit.id), ids)).order_by(col(Unit.id))
    return list(session.scalars(found))


def arrival_lots(session: Session, hold_id: int) -> dict[int, str]:
    """Name the lots under a hold that their delivery itself placed; none for any other hold."""
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(HoldUnit, col(HoldUnit.unit_id) == col(Unit.id))
        .join(Hold, col(Hold.id) == col(HoldUnit.hold_id))
        .join(Entry, col(Entry.id) == col(Hold.entry_id))
        .where(col(Hold.id) == hold_id, col(Entry.kind) == DELIVERY)
        .order_by(col(Unit.id))
    )
    return {row.id: row.code for row in rows}
