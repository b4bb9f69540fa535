"""Promising green coffee of lots, and taking a promise back."""

from collections import Counter
from collections.abc import Mapping, Sequence

from sqlmodel import col

from app.green.reservations.queries import stock_of_lots
from app.green.reservations.tables import Reservation, ReservationLot, ReservationRelease
from app.ledger.posting import Pen
from app.ledger.queries import live
from app.ledger.tables import Unit
from app.shared.db import next_number
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import Refused


def refuse_beyond(pen: Pen, lots: Mapping[str, Unit], wanted: Counter[str]) -> None:
    """Refuse to promise more of a lot than is there, not held and not promised yet."""
    stock = stock_of_lots(pen.session, [live(lot).id for lot in lots.values()])
    for code, grams in wanted.items():
        there = stock[lots[code].id]
        if grams > there.available_g:
            raise Refused(
                "insufficient-stock",
                f"Of lot {code} {kg_text(there.available_g)} are available, {kg_text(grams)} were "
                f"asked: {kg_text(there.on_hand_g)} are on hand, {kg_text(there.held_g)} of them "
                f"held and {kg_text(there.reserved_g)} reserved.",
                unit=code,
                asked_kg=kg_from_grams(grams),
                available_kg=kg_from_grams(there.available_g),
                on_hand_kg=kg_from_grams(there.on_hand_g),
                held_kg=kg_from_grams(there.held_g),
                reserved_kg=kg_from_grams(there.reserved_g),
            )


def reserve(
    pen: Pen, entry_id: int, promised: Sequence[tuple[str, Mapping[int, int]]]
) -> Sequence[int]:
    """Promise so much of each lot for each purpose, as part of an entry that is written."""
    first = next_number(pen.session, col(Reservation.id))
    pen.write(Reservation, [
        {"id": first + i, "purpose": purpose, "entry_id": entry_id}
        for i, (purpose, _) in enumerate(promised)
    ])  # fmt: skip
    pen.write(ReservationLot, [
        {"reservation_id": first + i, "lot_id": lot_id, "grams": grams}
        for i, (_, lots) in enumerate(promised)
        for lot_id, grams in lots.items()
    ])  # fmt: skip
    return range(first, first + len(promised))


def release_reservation(pen: Pen, entry_id: int, number: int, reason: str) -> None:
    """Take a promise back, as part of an entry that is written."""
    pen.write(ReservationRelease, [
        {"reservation_id": number, "reason": reason, "entry_id": entry_id},
    ])  # fmt: skip
