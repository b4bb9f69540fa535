"""What can be edited: cards for suppliers, customers, places, machines and products.

A card has a version and answers it as an `ETag`; a change names the version it was made on. Every
change is an entry of the journal too, without the members that are about a person.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, Generic, TypeVar

from fastapi import Header, Response
from sqlalchemy import Select, bindparam
from sqlalchemy import select as sql_select
from sqlmodel import Field, Session, SQLModel, col, select

from app.ledger.clerk import Clerk
from app.ledger.posting import Pen
from app.ledger.schemas import Asked, Told
from app.shared.answers import Answer
from app.shared.names import fold_name
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import FieldRefused, Refused
from app.shared.versions import Versioned, holds, require_match

IfMatch = Annotated[
    str | None, Header(alias="If-Match", description="The `ETag` of the version you change.")
]


class Card(SQLModel):
    """What every card has."""

    id: int | None = Field(default=None, primary_key=True)
    version: int = 1


class CardOut(Told, Versioned):
    """What every card answers."""

    id: int


C = TypeVar("C", bound=Card)


@dataclass(frozen=True)
class Shelf(Generic[C]):
    """Where cards of one sort stand, and by what they are found."""

    noun: str
    table: type[C]
    out: type[CardOut]
    key: str
    """The field that names a card: unique, whatever its capitals."""
    folded: str
    """The column that holds the key as it is compared."""
    private: frozenset[str] = field(default_factory=frozenset)
    """Fields about a person: kept on the card, kept out of the journal that is never changed."""

    def __str__(self) -> str:
        """Tell it by its noun, which is the same in every process that serves."""
        return self.noun

    @property
    def by_name(self) -> bool:
        """Whether cards are found by a name, or else by their number; the others have codes."""
        return self.folded != self.key

    def fold(self, key: str) -> str:
        """Bring a key to the form in which it is compared."""
        return fold_name(key) if self.by_name else key.strip().upper()


@cache
def _by_key(table: type[C], column: str) -> Select[C]:
    """Build the statement once: that takes several times as long as running it."""
    compared: Any = getattr(table, column)
    return sql_select(table).where(compared == bindparam("key"))


def find(session: Session, shelf: Shelf[C], key: str) -> C | None:
    """Find a card by its key or, where the key is a name, by its number."""
    by_key = _by_key(shelf.table, shelf.folded)
    card = session.scalars(by_key, {"key": shelf.fold(key)}).first()
    if card is None and shelf.by_name and _is_number(key):
        return _numbered(session, shelf, int(key[:19]))
    return card


def _is_number(key: str) -> bool:
    return key.isascii() and key.isdigit()


def _numbered(session: Session, shelf: Shelf[C], number: int) -> C | None:
    return session.get(shelf.table, max(0, min(number, 2**31 - 1)))


def named(session: Session, shelf: Shelf[C], key: str | int, pointer: str) -> C:
    """Find the card that a body names, or point at the field that names none.

    A number is the number of a card, whatever name another one has.
    """
    card = _numbered(session, shelf, key) if isinstance(key, int) else find(session, shelf, key)
    if card is None:
        raise FieldRefused(
            pointer, f"there is no {shelf.noun} {key}: enter it first", "unknown-reference"
        )
    return card


def card_at(session: Session, shelf: Shelf[C], key: str) -> C:
    """Find the card that a path names."""
    card = find(session, shelf, key)
    if card is None:
        raise Refused("not-found", f"There is no {shelf.noun} {key}.")
    return card


def _refuse_taken(session: Session, shelf: Shelf[C], key: str) -> None:
    column: Any = getattr(shelf.table, shelf.folded)
    if session.scalars(select(shelf.table).where(column == shelf.fold(key))).first() is not None:
        slug = "name-taken" if shelf.by_name else "code-taken"
        raise Refused(slug, f"There is already a {shelf.noun} {key}.")
    if shelf.by_name and _is_number(shelf.fold(key)):
        raise FieldRefused(
            f"#/{shelf.key}",
            f"{key} would be read as the number of a {shelf.noun}: add a word to it",
        )


def _said(shelf: Shelf[C], said: dict[str, Any]) -> dict[str, object]:
    return {name: value for name, value in said.items() if name not in shelf.private}


def add(pen: Pen, shelf: Shelf[C], asked: Asked) -> CardOut:
    """Enter a card."""
    card = enter(pen, shelf, asked, asked.model_dump())
    return shelf.out.model_validate(card, from_attributes=True)


def enter(pen: Pen, shelf: Shelf[C], asked: Asked, facts: Mapping[str, Any]) -> C:
    """Enter a card with these facts, which are what was asked as the table holds it."""
    key = str(facts[shelf.key])
    _refuse_taken(pen.session, shelf, key)
    card = shelf.table(**facts)
    setattr(card, shelf.folded, shelf.fold(key))
    pen.session.add(card)
    pen.session.flush()  # the database numbers the card
    said = _said(shelf, asked.model_dump(mode="json"))
    pen.note(f"{shelf.noun} entered", {"card": card.id, **said})
    return card


def change(pen: Pen, shelf: Shelf[C], key: str, asked: Asked, if_match: str | None) -> CardOut:
    """Change the fields that were sent, if the version they were read in is still current."""
    card = revise(pen, shelf, key, asked, if_match)
    return shelf.out.model_validate(card, from_attributes=True)


def revise(
    pen: Pen,
    shelf: Shelf[C],
    key: str,
    asked: Asked,
    if_match: str | None,
    *,
    settle: Callable[[C, dict[str, Any]], dict[str, Any]] | None = None,
) -> C:
    """Change a card; `settle` decides on the changes and brings them to the table's fields."""
    card = card_at(pen.session, shelf, key)
    require_match(if_match, card.version)
    changes = asked.model_dump(exclude_unset=True)
    if not changes:
        raise FieldRefused("#", "the change changes nothing: send the fields to be changed")
    fields = sorted(changes)
    if settle is not None:
        changes = settle(card, changes)
    renamed = changes.get(shelf.key)
    if renamed is not None and shelf.fold(renamed) != getattr(card, shelf.folded):
        _refuse_taken(pen.session, shelf, renamed)
    for name, value in changes.items():
        setattr(card, name, value)
    setattr(card, shelf.folded, shelf.fold(getattr(card, shelf.key)))
    card.version += 1
    said = _said(shelf, asked.model_dump(mode="json", exclude_unset=True))
    pen.note(f"{shelf.noun} changed", {"card": card.id, "fields": fields, **said})
    return card


def page_of(session: Session, shelf: Shelf[C], page: Page) -> PageOf:
    """Read a page of cards in the order they were entered."""
    table = shelf.table
    identity: Any = col(table.id)
    rows, following = turn_page(session, select(table, identity), identity, page)
    return [
        shelf.out.model_validate(row[0], from_attributes=True).model_dump(by_alias=True)
        for row in rows
    ], following  # fmt: skip


def show(clerk: Clerk, shelf: Shelf[C], key: str) -> Response:
    """Answer a card with its `ETag`, or 304 to a reader who holds this version."""

    def _read(session: Session) -> CardOut:
        return shelf.out.model_validate(card_at(session, shelf, key), from_attributes=True)

    return answer_card(clerk, clerk.read(_read))


def answer_card(clerk: Clerk, card: CardOut) -> Response:
    """Answer a card as `show` does."""
    if holds(clerk.request.headers.get("if-none-match"), card.etag):
        return Response(status_code=304, headers={"ETag": card.etag})
    return Answer(card, headers={"ETag": card.etag})
