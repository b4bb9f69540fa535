"""Where a unit stands that is booked in the place of a mistaken one: where that stood."""

from collections.abc import Mapping

from sqlalchemy import select, update
from sqlmodel import col

from app.ledger.corrections.replacing import in_order, link
from app.ledger.posting import Pen, Posting
from app.ledger.tables import Unit, UnitKind
from app.places.tables import Move
from app.shared.db import among, next_number


def post(pen: Pen, posting: Posting) -> int:
    """Post an act; what it books in the place of another takes over its holds and its place.

    Unless the act says itself where the coffee was tipped: that is the correction then.
    """
    entry_id = pen.post(posting)
    if posting.replaced:
        follow(pen, posting, entry_id, in_order(posting))
    return entry_id


def follow(pen: Pen, posting: Posting, entry_id: int, by: Mapping[int, int]) -> None:
    """Let new units take over from old ones, old to new, once the posting is in the book.

    A lot stands nowhere: its sacks do.
    """
    link(pen, posting, entry_id, by)
    said = {
        birth.id
        for birth in posting.births
        if birth.location_id is not None or birth.kind is UnitKind.LOT
    }
    _take_over_places(pen, {old: new for old, new in by.items() if new not in said})


def _take_over_places(pen: Pen, by: dict[int, int]) -> None:
    """Copy the moves of the old units, so that the new ones were where those were all along.

    Capacity is not asked: the coffee is there already.
    """
    first = {new: old for old, new in reversed(by.items())}
    session = pen.session
    rows = session.execute(
        select(col(Move.unit_id), col(Move.from_id), col(Move.to_id), col(Move.entry_id))
        .where(among(session, col(Move.unit_id), first.values()))
        .order_by(col(Move.id))
    ).all()
    number = next_number(session, col(Move.id))
    pen.write(Move, (
        {"id": number + i, "unit_id": by[row.unit_id], "from_id": row.from_id, "to_id": row.to_id,
         "entry_id": row.entry_id}
        for i, row in enumerate(rows)
    ))  # fmt: skip
    for new, place_id in {by[row.unit_id]: row.to_id for row in rows}.items():
        session.execute(
            update(Unit).where(col(Unit.id) == new).values(location_id=place_id)
            .execution_options(synchronize_session=False)
        )  # fmt: skip
