"""Versions of cards: what a style or a recipe was when something was held against it."""

from typing import Generic, TypeVar

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import Card, CardOut, Shelf, card_at
from app.ledger.posting import Pen
from app.ledger.schemas import Told
from app.ledger.tables import CardVersion, Entry
from app.shared.answers import read_json, to_json
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import MomentOut, text

C = TypeVar("C", bound=Card)
T = TypeVar("T", bound=CardOut)


class VersionOut(Told, Generic[T]):
    """A card as it was, since when, and who changed it."""

    version: int
    card: T
    since: MomentOut
    changed_by: str


def keep(pen: Pen, shelf: Shelf[C], card: CardOut) -> CardOut:
    """Keep what a card has just become, as part of the entry that changed it."""
    pen.write(CardVersion, [{
        "noun": shelf.noun, "card_id": card.id, "version": card.version,
        "said": to_json(card).decode(), "entry_id": pen.entry_id,
    }])  # fmt: skip
    return card


def version_page(session: Session, page: Page, shelf: Shelf[C], key: str) -> PageOf:
    """Read every version of a card, the first one first."""
    card = card_at(session, shelf, key)
    statement = (
        select(
            col(CardVersion.version),
            col(CardVersion.said),
            col(Entry.recorded_at),
            col(Entry.who),
        )
        .join(Entry, col(Entry.id) == col(CardVersion.entry_id))
        .where(col(CardVersion.noun) == shelf.noun, col(CardVersion.card_id) == card.id)
    )
    rows, following = turn_page(session, statement, col(CardVersion.version), page)
    return [
        {
            "version": row.version, "card": read_json(row.said), "since": text(row.recorded_at),
            "changed_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip
