"""What the API reads and answers about orders of customers."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Note, Party, Told, Why, refuse_twins
from app.packing.schemas import Bags
from app.shared.codes import NewCode, PlaceCode
from app.shared.times import Day
from app.shared.versions import shown_tag

State = Literal["open", "sent", "cancelled"]
Reference = Annotated[str, Field(max_length=200)]


class WantedBags(Asked):
    """So many bags of a product."""

    product: PlaceCode
    bags: Bags


def no_product_twice(lines: list[WantedBags]) -> list[WantedBags]:
    """Refuse a product that stands in two lines."""
    refuse_twins(line.product for line in lines)
    return lines


WantedLines = Annotated[
    list[WantedBags], Field(min_length=1, max_length=200), AfterValidator(no_product_twice)
]


class OrderIn(Asked):
    code: NewCode | None = None
    customer: Party
    reference: Reference | None = None
    due_on: Day
    """The day by which it is to leave."""
    lines: WantedLines
    note: Note | None = None


class CalledOff(OrderIn):
    """An order of one date of a standing order, as the journal is to know it."""

    standing_order: str
    called_for: Day


class OrderChange(Change):
    """The code and the customer stay: for another customer it is another order."""

    never_null: ClassVar[frozenset[str]] = frozenset({"due_on", "lines"})

    reference: Reference | None = None
    due_on: Day | None = None
    lines: WantedLines | None = None
    note: Note | None = None


class OrderCancelIn(Asked):
    reason: Why


class OrderedBags(Told):
    product: str
    bags: int
    sent_bags: int
    """By dispatches for the order; voided ones do not count, and what came back does."""
    open_bags: int
    """Still to go out; 0 once the order is cancelled."""


class OrderRow(CardOut):
    code: str
    customer: str
    reference: str | None
    due_on: date
    state: State
    lines: list[OrderedBags]
    note: str | None
    standing_order: str | None
    """The standing order it was called off."""
    called_for: date | None
    cancelled_reason: str | None


class OrderOut(OrderRow):
    dispatches: list[str]
    """For the order, oldest first, but for voided ones."""

    @property
    def etag(self) -> str:
        """Name the version and what went out: a dispatch changes what is shown, not the card."""
        return shown_tag(self)
