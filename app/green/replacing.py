"""A delivery booked in the place of a mistaken one: which lots and sacks it replaces by which."""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.schemas import DeliveryIn
from app.green.tables import Delivery, GreenLot
from app.ledger.corrections.voiding import goes_with, refuse_dependants, undo
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.shared.problems import Refused


class Doomed(NamedTuple):
    """A lot that turns out to have come otherwise, with its sacks."""

    lot: Unit
    sacks: Sequence[Unit]


def replaced_lots(session: Session, asked: DeliveryIn) -> list[Doomed]:
    """Find the lots that a delivery replaces: those of a delivery that stand, or one by its code.

    Raises:
        Refused: `voided` where none stands; `unknown-code`, `wrong-kind` for what is neither.
    """
    if asked.corrects is None:
        return []
    found = []
    for lot in _named(session, asked.corrects):
        _, *sacks = goes_with(session, lot)
        found.append(Doomed(lot, sacks))
    return found


def _named(session: Session, code: str) -> Sequence[Unit]:
    delivery = session.scalars(select(Delivery).where(col(Delivery.code) == code)).first()
    if delivery is None:
        return [live(unit_by_code(session, code, UnitKind.LOT))]
    lots = session.scalars(
        select(Unit)
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .where(col(GreenLot.delivery_id) == delivery.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id))
    ).all()
    if not lots:
        raise Refused("voided", f"Every lot of delivery {code} was voided.", delivery=code)
    return lots


def undo_lots(pen: Pen, posting: Posting, gone: Sequence[Doomed], reason: str | None) -> None:
    """Let a posting void the lots that it replaces, before all else.

    Raises:
        Refused: `has-dependants` naming what was made from them, or a sack that was adjusted.
    """
    if not gone:
        return
    doomed = [unit for lot, sacks in gone for unit in (lot, *sacks)]
    refuse_dependants(pen.session, doomed)
    posting.reverses_id = gone[0].lot.born_entry_id
    posting.replaced = [unit.id for unit in doomed]
    posting.reason = reason
    undo(pen.session, posting, doomed, reason or "")


def successors(
    gone: Sequence[Doomed], come: Sequence[tuple[Birth, Sequence[Birth]]]
) -> dict[int, int]:
    """Tell what stands for what: lot for lot, and sack for sack where a lot has as many of them.

    A lot beyond the last of the new ones goes on as that. Where sacks were more or fewer, nobody
    can say which is which: each goes on as its whole lot, so a hold on one of them holds all.
    """
    return dict(_pairs(gone, come))


def _pairs(
    gone: Iterable[Doomed], come: Sequence[tuple[Birth, Sequence[Birth]]]
) -> Iterator[tuple[int, int]]:
    for place, (old, old_sacks) in enumerate(gone):
        new, new_sacks = come[min(place, len(come) - 1)]
        yield old.id, new.id
        as_many = place < len(come) and len(old_sacks) == len(new_sacks)
        for number, sack in enumerate(old_sacks):
            yield sack.id, new_sacks[number].id if as_many else new.id
