"""Whole documents of EPCIS 2.0, told of the book."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any, Final, Protocol

from sqlmodel import Session

from app.epcis.arrivals import Arrivals
from app.epcis.book import Book
from app.epcis.coffee import Coffee
from app.epcis.deciding import Holds, Tastings
from app.epcis.making import Making
from app.epcis.material import Materials
from app.epcis.scope import Scope, of_period, of_recall, of_trace
from app.epcis.sending import Cases, Returns, Sending
from app.epcis.standing import Changes, Counts, Moves, Readings
from app.epcis.telling import Journal, Told, naming_of
from app.settings import Settings
from app.shared.times import now, text
from app.standards.epcis.events import document
from app.tracing.schemas import Direction


class _Chapter(Protocol):
    """One sort of thing that is told of some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None: ...

    def units(self) -> Iterator[int]: ...

    def entries(self) -> Iterator[int]: ...

    def tell(self, book: Book) -> Iterator[Told]: ...


_CHAPTERS: Final[tuple[type[_Chapter], ...]] = (
    Arrivals, Materials, Making, Sending, Returns, Cases, Moves, Readings, Changes, Counts,
    Tastings, Holds,
)  # fmt: skip


def trace_document(
    session: Session, settings: Settings, code: str, direction: Direction
) -> Mapping[str, Any]:
    """Tell of a unit with all that was made of it, or all that it was made of."""
    return _document(session, settings, of_trace(session, code, direction))


def recall_document(
    session: Session, settings: Settings, code: str, number: int
) -> Mapping[str, Any]:
    """Tell of everything that a frozen scope of a recall case names."""
    return _document(session, settings, of_recall(session, code, number))


def period_document(
    session: Session, settings: Settings, since: datetime, until: datetime
) -> Mapping[str, Any]:
    """Tell of everything that happened from one time until before another."""
    return _document(session, settings, of_period(session, since, until))


def _document(session: Session, settings: Settings, scope: Scope) -> Mapping[str, Any]:
    naming = naming_of(settings)
    chapters = [chapter(session, scope.entries) for chapter in _CHAPTERS]
    journal = Journal(naming)
    voids = (entry for chapter in chapters for entry in chapter.entries())
    journal.read(session, {*scope.entries, *voids})
    units = {unit for chapter in chapters for unit in chapter.units()}
    book = Book(session, naming, journal, Coffee(session, naming, units))
    told = [
        each
        for chapter in chapters
        for each in chapter.tell(book)
        if scope.units is None or each.units & scope.units
    ]
    told += [journal.declared(each, each.wrong) for each in told if each.wrong is not None]
    told.sort(key=lambda each: (each.entry, each.rank, each.number))
    mentioned = set(_names(each.event for each in told))
    return document(
        [dict(each.event) for each in told], naming.namespace, text(now()),
        parties=_known(book.parties, mentioned), places=_known(book.places, mentioned),
    )  # fmt: skip


def _known(names: Mapping[str, str], mentioned: Collection[str]) -> dict[str, str]:
    return {name: said for name, said in names.items() if name in mentioned}


def _names(told: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Name the parties and places that events mention."""
    for event in told:
        yield from (event[place]["id"] for place in ("readPoint", "bizLocation") if place in event)
        yield from (each["source"] for each in event.get("sourceList", ()))
        yield from (each["destination"] for each in event.get("destinationList", ()))
