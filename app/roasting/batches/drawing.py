"""What a roast does to reservations: it takes over its own and may eat into others."""

from collections import Counter
from collections.abc import Iterable, Mapping

from sqlmodel import Session

from app.green.reservations.queries import Source, eaten_into
from app.green.reservations.tables import ReservationUse
from app.ledger.posting import Birth, Pen
from app.roasting.batches.actions import ToRoast
from app.roasting.organic import Drawn
from app.shared.mass import kg_text


def take_over(pen: Pen, planned: ToRoast | None, born: Birth, machine: str) -> list[str]:
    """Let a roast that is booked take over its batch's reservation; say what is otherwise."""
    if planned is None:
        return []
    pen.write(ReservationUse, [
        {"reservation_id": planned.reservation_id, "unit_id": born.id},
    ])  # fmt: skip
    if planned.machine is None or planned.machine == machine:
        return []
    return [f"batch {planned.id} was planned for {planned.machine}, not {machine}"]


def eaten(session: Session, drawn: Iterable[Drawn], sources: Mapping[int, Source]) -> list[str]:
    """Say whose reservation a draw, already booked, ate into; `sources` as they are by now."""
    taken: Counter[int] = Counter()
    for each in drawn:
        if sources[each.sack_id].promised:
            taken[each.lot_id] += each.grams
    return [
        f"{kg_text(each.grams)} of {each.lot} were reserved for {', '.join(each.purposes)}"
        for each in eaten_into(session, taken)
    ]
