"""What the API reads and answers about stock counts."""

from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, StrictBool, WithJsonSchema, model_validator

from app.green.counting.rules import Status
from app.ledger.schemas import Asked, Note, Told, Why
from app.shared.codes import Code, PlaceCode
from app.shared.mass import Grams, KgOut, grams_from_kg
from app.shared.numbers import exact_number
from app.shared.times import MomentIn, MomentOut


def _counted(value: object) -> Grams:
    grams = grams_from_kg(exact_number(value))
    if grams < 0:
        raise ValueError("nothing weighs less than nothing")
    return grams


_MASS: dict[str, Any] = {"type": "number", "minimum": 0, "maximum": 30000, "multipleOf": 0.001}
CountedKg = Annotated[int, BeforeValidator(_counted), WithJsonSchema(_MASS)]
"""Kilograms that somebody found: an empty sack weighs nothing."""


class CountIn(Asked):
    location: PlaceCode | None = None
    """What stands at this place and below it, or"""
    lot: Code | None = None
    """every sack of this lot."""
    note: Note | None = None

    @model_validator(mode="after")
    def _one_subject(self) -> Self:
        if (self.location is None) == (self.lot is None):
            raise ValueError("name either a location or a lot")
        return self


class CountedIn(Asked):
    sack: Code
    grams: CountedKg | None = Field(default=None, alias="kg")
    found: StrictBool = True

    @model_validator(mode="after")
    def _found_or_weighed(self) -> Self:
        if self.found == (self.grams is None):
            raise ValueError("give kg for a sack that was found, or say found: false")
        return self


class CountLinesIn(Asked):
    lines: Annotated[list[CountedIn], Field(min_length=1, max_length=1000)]
    counted_at: MomentIn | None = None
    """When it was counted, now when left out: the book is asked for what it had then."""


class ApprovalIn(Asked):
    reason: Why | None = None


class RejectionIn(Asked):
    reason: Why


class SheetLine(Told):
    """A sack to be counted. The sheet is blind: it shows no mass."""

    sack: str
    lot: str
    number: int
    location: str | None
    counted: bool


class SheetOut(Told):
    id: int
    location: str | None
    lot: str | None
    note: str | None
    opened_at: MomentOut
    opened_by: str
    sacks: list[SheetLine]


class NotedLine(Told):
    """A line as it was taken down, without its mass."""

    sack: str
    expected: bool
    """Whether the sack is on the sheet."""


class CountNoted(Told):
    id: int
    lines: list[NotedLine]
    counted_at: MomentOut
    counted_by: str
    entry: int


class CountedLine(Told):
    id: int
    sack: str
    found: bool
    counted_g: KgOut = Field(alias="counted_kg")
    book_g: KgOut = Field(alias="book_kg")
    counted_at: MomentOut
    counted_by: str
    stands: bool
    """Whether it counts: of two lines about a sack the later one does."""


class Compared(Told):
    """Book against counted."""

    book_g: KgOut = Field(alias="book_kg")
    counted_g: KgOut = Field(alias="counted_kg")
    variance_g: KgOut = Field(alias="variance_kg")
    """Counted less book."""
    explained_g: KgOut | None = Field(alias="explained_kg")
    """The part that a change of moisture explains; null without two readings of the lot."""
    remaining_g: KgOut | None = Field(alias="remaining_kg")


class ComparedSack(Compared):
    sack: str
    lot: str
    location: str | None
    """Where the book had it when it was counted."""
    expected: bool
    found: bool
    counted_at: MomentOut
    counted_by: str


class ComparedLot(Compared):
    lot: str
    sacks: int


class ComparedAll(Compared):
    sacks: int


class UncountedLine(Told):
    sack: str
    lot: str
    location: str | None


class Figures(Told):
    sacks: list[ComparedSack]
    lots: list[ComparedLot]
    total: ComparedAll
    not_counted: list[UncountedLine]
    unexpected: list[str]
    """Sacks that were counted and are not on the sheet."""


class CountBrief(Told):
    id: int
    location: str | None
    lot: str | None
    note: str | None
    status: Status
    opened_at: MomentOut
    opened_by: str
    closed_at: MomentOut | None
    closed_by: str | None
    decided_at: MomentOut | None
    decided_by: str | None
    reason: str | None
    """Why it was approved or rejected."""


class CountOut(CountBrief):
    expected_sacks: int
    counted_sacks: int
    figures: Figures | None
    """Null while people count."""
    entry: int
    """The journal's entry that brought it to its status."""
