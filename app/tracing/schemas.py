"""What the API reads and answers about traces."""

from datetime import date
from enum import StrEnum
from typing import Self

from pydantic import Field, model_validator

from app.ledger.schemas import Asked, Codes, Told
from app.ledger.tables import UnitKind
from app.sending.tables import CustomerKind
from app.shared.codes import PlaceCode
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut


class Direction(StrEnum):
    """Which way to walk."""

    FORWARD = "forward"
    """Everything that contains any of it."""
    BACKWARD = "backward"
    """Everything it was made from."""


class TraceIn(Asked):
    """A set of units, or everything that stood at a place during a time."""

    units: Codes | None = None
    location: PlaceCode | None = None
    since: MomentIn | None = Field(default=None, alias="from")
    until: MomentIn | None = Field(default=None, alias="to")
    direction: Direction = Direction.FORWARD
    carry_over: bool = False

    @model_validator(mode="after")
    def _one_start(self) -> Self:
        if (self.units is None) == (self.location is None):
            raise ValueError("name either units or a location")
        if self.location is None and (self.since or self.until):
            raise ValueError("from and to go with a location")
        if self.since and self.until and self.since > self.until:
            raise ValueError("from is later than to")
        return self


class StartOut(Told):
    code: str
    kind: UnitKind


class TracedUnit(Told):
    code: str
    kind: UnitKind
    happened_at: MomentOut
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    suspect_g: KgOut = Field(alias="suspect_kg")
    """Forward: share times made. Backward: so much of this unit went into what was asked."""
    green_g: KgOut = Field(alias="green_kg")
    """The same coffee as kilograms of green."""
    share_pct: NumberOut
    location: str | None
    held: bool


class TracedFlow(Told):
    source: str
    target: str
    grams: KgOut = Field(alias="kg")


class ReachedCustomer(Told):
    customer: str
    contact: str | None
    kind: CustomerKind
    """`consumers` where it went over a counter to people whose names nobody has."""
    sold_on: list[date]
    """The days on which it went over that counter."""
    dispatches: list[str]
    bags: int
    grams: KgOut = Field(alias="kg")
    suspect_g: KgOut = Field(alias="suspect_kg")
    returned_bags: int


class ReachedSupplier(Told):
    supplier: str | None
    delivery: str
    lots: list[str]


class BalanceOut(Told):
    """Where the coffee is: the other kilograms add up to what was received."""

    received_g: KgOut = Field(alias="received_kg")
    green_left_g: KgOut = Field(alias="green_left_kg")
    roasting_loss_g: KgOut = Field(alias="roasting_loss_kg")
    in_process_g: KgOut = Field(alias="in_process_kg")
    packing_loss_g: KgOut = Field(alias="packing_loss_kg")
    packed_left_g: KgOut = Field(alias="packed_left_kg")
    dispatched_g: KgOut = Field(alias="dispatched_kg")
    """Sent and not come back."""
    adjusted_g: KgOut = Field(alias="adjusted_kg")
    """Taken out as samples, spills, counts or destruction; negative where more was found."""
    asked_g: KgOut = Field(alias="asked_kg")
    """Backward only: what the asked units weighed when they were made.

    What went from one of them into another counts once.
    """
    accounted_pct: NumberOut


class PossibleContact(Told):
    """A run next to a traced run on one machine, or something made from such a run."""

    code: str
    kind: UnitKind
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    location: str | None
    held: bool
    customer: str | None
    """Of a dispatch: to whom it went."""
    machine: str | None
    """Null on what was made from a run."""
    after: str | None = None
    """Forward: the traced unit that ran before it on that machine."""
    before: str | None = None
    """Backward: the traced unit that ran after it on that machine."""


class TraceOut(Told):
    of: StartOut | list[StartOut]
    direction: Direction
    units: list[TracedUnit]
    flows: list[TracedFlow]
    customers: list[ReachedCustomer]
    suppliers: list[ReachedSupplier]
    balance: BalanceOut
    possible_contact: list[PossibleContact] | None
    """Only with `carry_over`: listed apart, since no mass is known of it."""
    caution: str


class Part(Told):
    unit: str
    kind: UnitKind
    grams: KgOut = Field(alias="kg")


class UnitOut(Told):
    """Any unit: what it is, what is left, what it came from and what was made of it."""

    code: str
    kind: UnitKind
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    location: str | None
    held: bool
    voided: bool
    happened_at: MomentOut
    recorded_at: MomentOut
    who: str
    made_from: list[Part]
    made_into: list[Part]
