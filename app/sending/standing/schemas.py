"""What the API reads and answers about standing orders."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Note, Party, Told
from app.packing.schemas import Bags
from app.sending.orders.schemas import Reference, WantedLines
from app.sending.standing.rules import WEEKDAYS
from app.shared.codes import NewCode
from app.shared.times import Day

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


def _each_once(weekdays: list[Weekday]) -> list[Weekday]:
    if len(set(weekdays)) != len(weekdays):
        raise ValueError("a day of the week is named twice")
    return sorted(weekdays, key=WEEKDAYS.index)


Weekdays = Annotated[list[Weekday], Field(min_length=1, max_length=7), AfterValidator(_each_once)]
EveryWeeks = Annotated[int, Field(ge=1, le=52, strict=True)]
Paused = Annotated[list[Day], Field(max_length=400), AfterValidator(lambda days: sorted(set(days)))]


class StandingIn(Asked):
    code: NewCode
    customer: Party
    reference: Reference | None = None
    lines: WantedLines
    weekdays: Weekdays
    every_weeks: EveryWeeks = 1
    """Counted from the week of `starts_on`; weeks begin on Monday."""
    starts_on: Day
    ends_on: Day | None = None
    """The last day it may fall on."""
    paused: Paused = Field(default_factory=list)
    """Dates on which it does not fall."""
    note: Note | None = None


class StandingChange(Change):
    """The code and the customer stay."""

    never_null: ClassVar[frozenset[str]] = frozenset(
        {"lines", "weekdays", "every_weeks", "starts_on", "paused"}
    )

    reference: Reference | None = None
    lines: WantedLines | None = None
    weekdays: Weekdays | None = None
    every_weeks: EveryWeeks | None = None
    starts_on: Day | None = None
    ends_on: Day | None = None
    paused: Paused | None = None
    note: Note | None = None


class StandingBags(Told):
    product: str
    bags: Bags


class StandingOut(CardOut):
    code: str
    customer: str
    reference: str | None
    lines: list[StandingBags]
    weekdays: list[str]
    every_weeks: int
    starts_on: date
    ends_on: date | None
    paused: list[date]
    note: str | None


class StandingDate(Told):
    on: date
    paused: bool
    order: str | None
    """The order that was called off for it."""


class StandingDates(Told):
    first: date = Field(alias="from")
    last: date = Field(alias="to")
    dates: list[StandingDate]


class CallIn(Asked):
    on: Day
    """One of its dates that is not paused."""
    code: NewCode | None = None
    """The code of the order; one is issued when it is left out."""
