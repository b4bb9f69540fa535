"""The book as it is told to others: names of coffee, places and parties, and the journal."""

from sqlmodel import Session

from app.epcis.coffee import Coffee
from app.epcis.telling import Journal
from app.standards.epcis import events
from app.standards.epcis.naming import Naming


class Book:
    """What chapters tell from."""

    def __init__(self, session: Session, naming: Naming, journal: Journal, coffee: Coffee) -> None:
        self.session = session
        self.naming = naming
        self.journal = journal
        self.coffee = coffee
        self.firm = naming.firm
        self.house = events.at(naming.place())
        self.parties: dict[str, str] = {}
        self.places: dict[str, str] = {}
        """What the names of parties and places mean."""

    def at(self, place: str | None) -> events.Event | None:
        """Name a place by its code."""
        if place is None:
            return None
        name = self.naming.place(place)
        self.places[name] = place
        return events.at(name)

    def party(self, kind: str, number: int, said: str) -> str:
        """Name a supplier or a customer."""
        name = self.naming.own("party", kind, number)
        self.parties[name] = said
        return name
