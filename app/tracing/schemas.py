"""What the API reads and answers about traces."""

from datetime import date
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, StrictBool, model_validator

from app.ledger.schemas import Asked, Codes, Told
from app.ledger.tables import UnitKind
from app.packing.materials.tables import MaterialKind
from app.sending.tables import CustomerKind
from app.shared.codes import Code, PlaceCode
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

MOST_HOPS: Final = 10
"""Each hop reaches further, and an answer without an end could be most of the book."""


class Direction(StrEnum):
    """Which way to walk."""

    FORWARD = "forward"
    """Everything that contains any of it."""
    BACKWARD = "backward"
    """Everything it was made from."""


class TraceIn(Asked):
    """A set of units, everything that stood at a place during a time, or a packing material."""

    units: Codes | None = None
    location: PlaceCode | None = None
    material_lot: Code | None = None
    """Starts at every pack that used this lot of packing material."""
    since: MomentIn | None = Field(default=None, alias="from")
    until: MomentIn | None = Field(default=None, alias="to")
    direction: Direction = Direction.FORWARD
    carry_over: StrictBool = False
    hops: Annotated[int, Field(ge=1, le=MOST_HOPS, strict=True)] = 1
    """With `carry_over`: how many times contact of what was made from contact is asked for."""
    as_of: MomentIn | None = None
    """What the book said at that time, by when it learnt of things; now when left out."""

    @model_validator(mode="after")
    def _one_start(self) -> Self:
        if sum(start is not None for start in (self.units, self.location, self.material_lot)) != 1:
            raise ValueError("name either units or a location or a material_lot")
        if self.location is None and (self.since or self.until):
            raise ValueError("from and to go with a location")
        if self.since and self.until and self.since > self.until:
            raise ValueError("from is later than to")
        return self


class StartOut(Told):
    code: str
    kind: UnitKind
    asked: str | None = None
    """Only where the unit that was asked for had been replaced by this one: its code."""
    replaces: list[str] | None = None
    """Only there: in whose place it was booked."""


class TracedUnit(Told):
    code: str
    kind: UnitKind
    happened_at: MomentOut
    recorded_at: MomentOut
    """When the book learnt of it."""
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


class ReachedMaterial(Told):
    """A lot of packing material in the bags of reached packs."""

    lot: str
    material: str
    kind: MaterialKind
    supplier: str | None
    reference: str | None
    packs: list[str]
    used: NumberOut | None
    """In these packs, in pieces or metres; null where only the lot is known."""


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
    """What ran or stood near traced coffee on one machine or in one place, or was made of that."""

    code: str
    kind: UnitKind
    hop: int
    """1 for what came near the traced coffee, 2 for what came near that or what it went into."""
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    location: str | None
    held: bool
    customer: str | None
    """Of a dispatch: to whom it went."""
    machine: str | None
    """Null on what was made from contact, and on what came near in a place."""
    place: str | None
    """The silo, hopper or tray where it came near."""
    after: str | None = None
    """Forward: the unit of the trace, or of the hop before, that was there before or with it."""
    before: str | None = None
    """Backward: the unit of the trace, or of the hop before, that was there after or with it."""


class TraceOut(Told):
    of: StartOut | list[StartOut]
    direction: Direction
    as_of: MomentOut | None
    """What the book said then; null for what it says now."""
    entry: int
    """The last entry of the journal that counts."""
    units: list[TracedUnit]
    flows: list[TracedFlow]
    customers: list[ReachedCustomer]
    suppliers: list[ReachedSupplier]
    materials: list[ReachedMaterial]
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
    replaces: list[str]
    """In whose place it was booked: one unit, or of bags that came back perhaps several."""
    replaced_by: str | None
    """Of a voided unit: what was booked in its place."""
    as_of: MomentOut | None
    """What the book said then; null for what it says now."""
    entry: int
    """The last entry of the journal that counts."""


class VerdictOut(Told):
    """Whether a void would be accepted as the book is now."""

    accepted: bool
    problem: str | None
    """The kind of problem it would be refused with."""
    detail: str | None


class DependantOut(Told):
    """A live unit that was made from the one asked for, at any remove."""

    code: str
    kind: UnitKind
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    happened_at: MomentOut
    recorded_at: MomentOut
    location: str | None
    held: bool
    customer: str | None
    """Of a dispatch: to whom it went."""
    bags: int | None
    """Of a dispatch: how many left."""
    check_weighings: int
    labels: int
    """How many print orders named it: labels with a code that would be no more."""


class SentTo(Told):
    customer: str
    contact: str | None
    dispatches: list[str]
    bags: int
    grams: KgOut = Field(alias="kg")


class OpenHold(Told):
    id: int
    reason: str
    units: list[str]


class ImpactOut(Told):
    """What voiding a unit would take with it."""

    code: str
    kind: UnitKind
    voided: bool
    replaced_by: str | None
    goes_with: list[str]
    """What is voided with it in any case: the sacks of a lot, the other bags of a return."""
    plain_void: VerdictOut
    """A void of this unit alone."""
    void_with: VerdictOut
    """A void that names all that depends on it."""
    dependants: list[str] = Field(alias="with")
    """What such a void has to name: the codes below."""
    units: list[DependantOut]
    """In the order in which they could be voided one by one, the youngest first."""
    given_back: dict[str, KgOut] = Field(alias="given_back_kg")
    """What the units that stay would get back if all of it were voided."""
    customers: list[SentTo]
    holds: list[OpenHold]
