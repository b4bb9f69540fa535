"""Closing the receipt of a delivery, once every sack is accounted for."""

from collections.abc import Iterator

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.arrivals.checks import live_lots
from app.green.arrivals.newest import newest
from app.green.arrivals.papers import papers_of
from app.green.arrivals.schemas import CloseIn, CountOut, ReceiptOut
from app.green.arrivals.showing import show_count
from app.green.arrivals.tables import ArrivalCount, ReceiptClose
from app.green.tables import Delivery
from app.ledger.posting import Pen
from app.ledger.tables import Entry
from app.shared.problems import Refused
from app.shared.times import text


def close(pen: Pen, code: str, asked: CloseIn) -> ReceiptOut:
    """Close a receipt whose lots all reconcile.

    Raises:
        Refused: `does-not-reconcile`, naming each lot with its figures; `already-done`.
    """
    session = pen.session
    delivery = session.scalars(select(Delivery).where(col(Delivery.code) == code.upper())).first()
    if delivery is None or delivery.id is None:
        raise Refused("not-found", f"There is no delivery {code}.")
    _refuse_closed(session, delivery)
    counts = _counts(pen, delivery.id, delivery.code)
    facts = {"delivery": delivery.code, "note": asked.note, "lots": [each.lot for each in counts]}
    entry_id = pen.note("receipt closed", facts)
    session.add(ReceiptClose(delivery_id=delivery.id, entry_id=entry_id, note=asked.note))
    return ReceiptOut(
        delivery=delivery.code,
        note=asked.note,
        closed_at=pen.now,
        closed_by=pen.who,
        lots=counts,
    )


def _refuse_closed(session: Session, delivery: Delivery) -> None:
    closed = session.get(ReceiptClose, delivery.id)
    if closed is not None:
        entry = session.get_one(Entry, closed.entry_id)
        raise Refused(
            "already-done",
            f"The receipt of {delivery.code} was closed on {text(entry.recorded_at)} "
            f"by {entry.who}.",
        )


def _counts(pen: Pen, delivery_id: int, code: str) -> list[CountOut]:
    """Read the counts that stand, and refuse while one is wanting or does not reconcile."""
    papers = papers_of(pen.session, live_lots(pen.session, delivery_id), pen.settings)
    if not papers:
        raise Refused("not-found", f"Delivery {code} has no lots that arrived and still stand.")
    facts = newest(pen.session, ArrivalCount, list(papers))
    counts = [
        show_count(facts[lot_id].found, lot, facts[lot_id].at, facts[lot_id].who)
        for lot_id, lot in papers.items()
        if lot_id in facts
    ]
    uncounted = [lot.lot for lot_id, lot in papers.items() if lot_id not in facts]
    wrong = [each for each in counts if not each.reconciles]
    if uncounted or wrong:
        said = [f"{lot} has not been counted" for lot in uncounted] + list(_said(wrong))
        raise Refused(
            "does-not-reconcile",
            f"The receipt of {code} stays open: {'; '.join(said)}.",
            uncounted=uncounted,
            lots=[each.model_dump() for each in wrong],
        )
    return counts


def _said(wrong: list[CountOut]) -> Iterator[str]:
    for each in wrong:
        found = each.invoiced + each.against_invoice
        parts = []
        if each.against_invoice:
            parts.append(f"{found} sacks are accounted for and {each.invoiced} were invoiced")
        if each.against_book:
            parts.append(
                f"{each.booked + each.against_book} were found and {each.booked} are booked"
            )
        yield f"of {each.lot} {' and '.join(parts)}"


def closing(session: Session, delivery_id: int) -> Entry | None:
    """Find the entry that closed a receipt."""
    return session.scalars(
        select(Entry).join(ReceiptClose, col(ReceiptClose.entry_id) == col(Entry.id))
        .where(col(ReceiptClose.delivery_id) == delivery_id)
    ).first()  # fmt: skip
