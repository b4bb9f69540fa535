"""What the API reads and answers about what was found when coffee arrived."""

from datetime import date
from typing import Annotated, Self

from pydantic import BaseModel, Field, StrictBool, StringConstraints, model_validator

from app.green.arrivals.rules import Step
from app.green.arrivals.tables import ExceptionKind
from app.green.weights import TareSample, weigh
from app.ledger.schemas import Asked, Codes, Note, Told
from app.shared.codes import PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut
from app.standards.buying import Standing, WeightBasis

Sacks = Annotated[int, Field(ge=0, le=100_000, strict=True)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class CountIn(Asked):
    """Sacks as they were found."""

    invoiced: Sacks | None = None
    """Left out: what the delivery said of the lot."""
    sound: Sacks = 0
    slack: Sacks = 0
    torn: Sacks = 0
    wet: Sacks = 0
    mouldy: Sacks = 0
    missing: Sacks = 0
    over: Sacks = 0
    """Found beyond what was invoiced; they are among the sound or damaged ones too."""
    note: Note | None = None
    counted_at: MomentIn | None = None


class CountOut(Told):
    lot: str
    invoiced: int
    sound: int
    slack: int
    torn: int
    wet: int
    mouldy: int
    missing: int
    over: int
    booked: int
    """Sacks of the lot in the book, without sweepings."""
    reconciles: bool
    against_invoice: int
    """Found and missing less over, less invoiced: 0 where every invoiced sack is accounted for."""
    against_book: int
    """Found less booked."""
    note: str | None
    counted_at: MomentOut
    counted_by: str


class WeightIn(Asked):
    """A lot on the scale; where no weight is given, what the book received stands."""

    landed_g: KgIn | None = Field(default=None, alias="landed_kg")
    gross_g: KgIn | None = Field(default=None, alias="gross_kg")
    tare_g: KgIn | None = Field(default=None, alias="tare_kg")
    """Of all its packaging."""
    tare_sample: TareSample | None = None
    """Empties that were weighed: their mean stands for each sack of the lot."""
    shipped_g: KgIn | None = Field(default=None, alias="shipped_kg")
    """Left out: what the delivery said of the lot."""
    bulk: StrictBool = False
    """Whether it came loose in a container and not in sacks."""
    place: Words | None = None
    note: Note | None = None
    weighed_at: MomentIn | None = None

    @model_validator(mode="after")
    def _weights_agree(self) -> Self:
        if self.tare_sample is not None and (self.gross_g is None or self.tare_g is not None):
            raise ValueError("tare_sample goes with gross_kg, in place of tare_kg")
        if self.gross_g is None and self.tare_g is None and self.landed_g is None:
            return self
        if weigh(self.landed_g, self.gross_g, self.tare_g) is None and self.tare_sample is None:
            raise ValueError("gross_kg needs tare_kg, tare_sample or landed_kg beside it")
        return self


class WeightOut(Told):
    lot: str
    landed_g: KgOut = Field(alias="landed_kg")
    """With sweepings."""
    from_book: bool
    """Nobody gave a weight: it is what the book received."""
    sweepings_g: KgOut = Field(alias="sweepings_kg")
    """Of the lot in the book; they stay apart."""
    gross_g: KgOut | None = Field(alias="gross_kg")
    tare_g: KgOut | None = Field(alias="tare_kg")
    shipped_g: KgOut | None = Field(alias="shipped_kg")
    loss_g: KgOut | None = Field(alias="loss_kg")
    """Shipped less landed; null where nobody said what was shipped."""
    loss_pct: NumberOut | None
    """Of the shipped weight, to five decimals."""
    over_usual: bool | None
    """Whether more was lost than usual: a hint to look again."""
    usual_loss_pct: NumberOut
    contract: str | None
    weight_basis: WeightBasis | None
    franchise_pct: NumberOut | None
    franchise_g: KgOut | None = Field(alias="franchise_kg")
    """What the buyer bears, rounded up to the gram."""
    claimable_g: KgOut | None = Field(alias="claimable_kg")
    """0 where the contract is paid on landed weight; null where too little is known."""
    claim: str
    """The same in words."""
    bulk: bool
    place: str | None
    note: str | None
    weighed_at: MomentOut
    weighed_by: str


class InspectionIn(Asked):
    """What a lot looks and smells like; every question is answered."""

    musty_smell: StrictBool
    foreign_smell: StrictBool
    live_insects: StrictBool
    wet_marks: StrictBool
    mould: StrictBool
    husks_or_pods: StrictBool = False
    note: Note | None = None
    inspected_at: MomentIn | None = None


class InspectionOut(Told):
    lot: str
    musty_smell: bool
    foreign_smell: bool
    live_insects: bool
    wet_marks: bool
    mould: bool
    husks_or_pods: bool
    clean: bool
    """Nothing that calls for a hold was found."""
    found: list[str]
    """The same in words."""
    hold: int | None
    """The hold that the inspection placed; null where it placed none."""
    caution: str
    note: str | None
    inspected_at: MomentOut
    inspected_by: str


class ExceptionIn(Asked):
    """Something wrong with some sacks of a lot."""

    kind: ExceptionKind
    sacks: Annotated[int, Field(ge=1, le=100_000, strict=True)] | None = None
    """How many; left out: as many as `codes` names."""
    codes: Codes | None = None
    """Which, where they are known."""
    grams: KgIn | None = Field(default=None, alias="kg")
    location: PlaceCode | None = None
    """Where they were put apart."""
    disposition: Words | None = None
    """What is to become of them."""
    note: Note | None = None
    found_at: MomentIn | None = None

    @model_validator(mode="after")
    def _counts_its_codes(self) -> Self:
        named = len(self.codes or ())
        if self.sacks is None and not named:
            raise ValueError("say how many sacks, or which")
        if self.sacks is not None and self.sacks < named:
            raise ValueError(f"{self.sacks} sacks were said and {named} are named")
        if self.kind is ExceptionKind.MISSING and named:
            raise ValueError("a sack that is missing has no code: say how many")
        return self


class ExceptionOut(Told):
    id: int
    lot: str
    kind: ExceptionKind
    sacks: int
    codes: list[str]
    grams: KgOut | None = Field(alias="kg")
    location: str | None
    disposition: str | None
    note: str | None
    photos: list[int]
    caution: str | None
    found_at: MomentOut
    found_by: str


class GivenPhoto(BaseModel):
    """A picture that was found to be what it says; a retry is known by its hash."""

    content: bytes = Field(exclude=True, repr=False)
    media_type: str
    width: int
    height: int
    size_bytes: int
    sha256: str


class PhotoOut(Told):
    id: int
    exception: int
    media_type: str
    width: int
    height: int
    size_bytes: int
    sha256: str
    taken_in_at: MomentOut
    taken_in_by: str


class CloseIn(Asked):
    note: Note | None = None


class ReceiptOut(Told):
    """A receipt that is closed, with the counts it was closed on."""

    delivery: str
    note: str | None
    closed_at: MomentOut
    closed_by: str
    lots: list[CountOut]


class ClockOut(Told):
    what: str
    days: int
    by: date
    """The last day, included."""
    days_left: int
    """Below zero once it has run out."""


class MoistureOut(Told):
    """The newest moisture reading against what the contract allows on arrival."""

    pct: NumberOut
    limit_pct: NumberOut | None
    within: bool | None
    """Null where the contract names no limit."""
    taken_at: MomentOut
    taken_by: str


class StepOut(Told):
    step: Step
    done: bool
    at: MomentOut | None
    by: str | None
    detail: str | None


class LotArrival(Told):
    """How far the work on an arrived lot is."""

    open_steps: list[Step]
    closed_at: MomentOut | None
    """When the receipt of its delivery was closed."""


class ArrivalOut(LotArrival):
    """The order of work on an arrived lot, and what was found."""

    lot: str
    delivery: str
    contract: str | None
    held: bool
    voided: bool
    steps: list[StepOut]
    count: CountOut | None
    weight: WeightOut | None
    inspection: InspectionOut | None
    moisture: MoistureOut | None
    clocks: list[ClockOut]
    exceptions: list[ExceptionOut]


class LotCheck(Told):
    """A lot against the papers."""

    lot: str
    reconciles: bool | None
    """Null until the lot is counted."""
    shipped_g: KgOut | None = Field(alias="shipped_kg")
    landed_g: KgOut | None = Field(alias="landed_kg")
    """Null until the lot is weighed."""
    claimable_g: KgOut | None = Field(alias="claimable_kg")
    claim: str | None


class DeliveryCheck(Told):
    """A delivery against its contract."""

    weight_basis: WeightBasis
    quantity_g: KgOut = Field(alias="quantity_kg")
    accepted_from_g: KgOut = Field(alias="accepted_from_kg")
    accepted_to_g: KgOut = Field(alias="accepted_to_kg")
    contract_received_g: KgOut = Field(alias="contract_received_kg")
    """Of all deliveries of the contract; voided lots do not count."""
    standing: Standing
    clocks: list[ClockOut]
    """Empty until the day of final discharge is known."""
    lots: list[LotCheck]
