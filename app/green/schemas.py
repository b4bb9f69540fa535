"""What the API reads and answers about green coffee."""

from datetime import date
from typing import Annotated, ClassVar, Literal, Self

from pydantic import (
    ConfigDict,
    Field,
    StrictBool,
    StringConstraints,
    ValidationInfo,
    field_validator,
    model_validator,
)

from app.green.arrivals.schemas import DeliveryCheck, LotArrival
from app.green.condition.schemas import LotMoisture
from app.green.contracts.schemas import Reference
from app.green.identity.rules import Species, YearFrom
from app.green.identity.schemas import (
    AltitudeIn,
    AltitudeOut,
    CoffeeYear,
    CropAgeOut,
    CropYearsOut,
    KnownSpecies,
    Words,
)
from app.green.origins import Country
from app.green.readings.values import Moisture
from app.green.tables import Condition
from app.green.weights import TareSample, Weights, weigh
from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Name, Note, Party, Told
from app.places.schemas import Caution
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.mass import HEAVIEST_G, KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import Day, MomentIn, MomentOut
from app.standards.ico_marks import MarkForm, coffee_year, read_coffee_year

MOST_SACKS = 20_000
"""In one delivery: some sixty containers, so more is a slip of the finger."""
Address = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500)]
Email = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=254, pattern=r"^[^@\s]+@[^@\s]+$"),
]
Web = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500)]


class SupplierIn(Asked):
    name: Name
    address: Address | None = None
    email: Email | None = None
    web: Web | None = None


class SupplierChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    address: Address | None = None
    email: Email | None = None
    web: Web | None = None


class SupplierOut(CardOut):
    name: str
    address: str | None
    email: str | None
    web: str | None


SackCondition = Literal[
    Condition.SOUND, Condition.SLACK, Condition.TORN, Condition.WET, Condition.MOULDY
]
"""What can be said of a sack: sweepings are weighed together and are none."""


class SacksIn(Asked):
    """One sack, or `count` sacks of one weight."""

    model_config = ConfigDict(json_schema_extra={
        "anyOf": [{"required": ["net_kg"]}, {"required": ["gross_kg"]}],
        "dependentRequired": {"tare_kg": ["gross_kg"]},
    })  # fmt: skip

    code: NewCode | None = None
    count: Annotated[int, Field(ge=1, le=5000, strict=True)] | None = None
    net_g: KgIn | None = Field(default=None, alias="net_kg")
    """Left out: gross less tare."""
    gross_g: KgIn | None = Field(default=None, alias="gross_kg")
    """On the scale, with its packaging."""
    tare_g: KgIn | None = Field(default=None, alias="tare_kg")
    """Its packaging; left out: the mean of the lot's `tare_sample`, or gross less net."""
    location: PlaceCode | None = None
    condition: SackCondition = Condition.SOUND

    @model_validator(mode="after")
    def _one_code_one_sack(self) -> Self:
        if self.code is not None and (self.count or 1) > 1:
            raise ValueError("a code names one sack: leave out the code or the count")
        return self

    @model_validator(mode="after")
    def _weights_agree(self) -> Self:
        weigh(self.net_g, self.gross_g, self.tare_g)
        return self

    def weights(self, sample: TareSample | None) -> Weights:
        """Complete its weights with the tare of its lot."""
        tare_g = self.tare_g
        if self.gross_g is not None and self.net_g is None and tare_g is None and sample:
            tare_g = sample.of()
        found = weigh(self.net_g, self.gross_g, tare_g)
        if found is None:
            raise ValueError("gross_kg needs tare_kg beside it, or a tare_sample of the lot")
        return found


class LotIn(Asked):
    code: NewCode | None = None
    name: Name
    origin: Country
    crop_year: Annotated[str, Field(max_length=100)] | None = None
    process: Annotated[str, Field(max_length=200)] | None = None
    ico_mark: Annotated[str, Field(max_length=100)] | None = None
    advised_g: KgIn | None = Field(default=None, alias="advised_kg")
    moisture_pct: Moisture | None = None
    certificate: Annotated[str, Field(max_length=500)] | None = None
    note: Note | None = None
    species: KnownSpecies | None = None
    variety: Words | None = None
    region: Words | None = None
    producer: Words | None = None
    altitude: AltitudeIn | None = None
    harvest_ended_on: Day | None = None
    shipped_on: Day | None = None
    coffee_year: CoffeeYear | None = None
    """Of its shipment: serial numbers of marks begin again with each."""
    same_shipment_as: Code | None = None
    """The lot of a parcel that carries the same mark in the same coffee year."""
    sacks: Annotated[list[SacksIn], Field(min_length=1, max_length=5000)]
    sweepings_g: KgIn | None = Field(default=None, alias="sweepings_kg")
    """Coffee gathered from floor or container: weighed together, kept apart and on hold."""
    shipped_g: KgIn | None = Field(default=None, alias="shipped_kg")
    invoiced_sacks: Annotated[int, Field(ge=0, le=100_000, strict=True)] | None = None
    tare_sample: TareSample | None = None
    """Empty sacks weighed together: their mean is the tare of sacks that give gross alone."""

    @model_validator(mode="after")
    def _every_sack_has_its_tare(self) -> Self:
        for number, sacks in enumerate(self.sacks):
            try:
                sacks.weights(self.tare_sample)
            except ValueError as error:
                raise ValueError(f"sacks/{number}: {error}") from error
        return self

    @field_validator("coffee_year")
    @classmethod
    def _of_its_shipment(cls, said: str | None, others: ValidationInfo) -> str | None:
        shipped_on = others.data.get("shipped_on")
        if said and shipped_on and read_coffee_year(said) != coffee_year(shipped_on):
            raise ValueError(f"what was shipped on {shipped_on} is not of the coffee year {said}")
        return said


class OpeningLot(LotIn):
    """A lot of a stock file: its name is kept with its spaces, as it was typed."""

    name: Annotated[str, Field(min_length=1, max_length=500)]


class StockFileIn(Asked):
    """A stock file, and what its rows are held against."""

    file: Annotated[str, Field(min_length=1)]
    skip_refused: StrictBool = False
    """Whether the other rows are stored when some are refused."""
    lightest_g: KgIn = Field(default=1, alias="min_sack_kg")
    heaviest_g: KgIn = Field(default=HEAVIEST_G, alias="max_sack_kg")


class TakenOver(Told):
    """What of a stock file is in the book now."""

    lots: int
    sacks: int
    grams: KgOut = Field(alias="kg")
    there: int
    """Rows that were in the book before."""
    refused: int
    """Rows that were left out."""


class DeliveryIn(Correcting):
    """An arrival; what it corrects is a delivery by its code, or one lot."""

    supplier: Party
    reference: Annotated[str, Field(max_length=200)] | None = None
    received_at: MomentIn
    contract: Reference | None = None
    """The purchase contract it comes under, of the same supplier."""
    discharged_on: Day | None = None
    """The day of final discharge at the port: the clocks of the contract start on it."""
    lots: Annotated[list[LotIn], Field(min_length=1, max_length=200)]

    @model_validator(mode="after")
    def _no_more_than_a_ship(self) -> Self:
        sacks = sum(group.count or 1 for lot in self.lots for group in lot.sacks)
        if sacks > MOST_SACKS:
            raise ValueError(f"{sacks} sacks in one delivery; {MOST_SACKS} are the most")
        return self


class SackBrief(Told):
    code: str
    net_g: KgOut = Field(alias="net_kg")
    location: str | None


class LotReceived(Told):
    code: str
    name: str
    received_g: KgOut = Field(alias="received_kg")
    advised_g: KgOut | None = Field(alias="advised_kg")
    difference_g: KgOut | None = Field(alias="difference_kg")
    """Received less advised: negative when coffee is missing."""
    shipped_g: KgOut | None = Field(alias="shipped_kg")
    invoiced_sacks: int | None
    sweepings_g: KgOut | None = Field(alias="sweepings_kg")
    """Among the received: the last of `sacks`, on a hold of its own."""
    held: bool
    voided: bool = False
    mark: str | None
    """The ICO mark with its zeros, where what is printed is one."""
    coffee_year: str
    coffee_year_from: YearFrom
    sacks: list[SackBrief]


class DeliveryOut(Told):
    code: str
    supplier: str | None
    reference: str | None
    received_at: MomentOut
    contract: str | None
    discharged_on: date | None
    closed_at: MomentOut | None
    """When the receipt was closed."""
    closed_by: str | None
    check: DeliveryCheck | None
    """Against the contract, where there is one."""
    lots: list[LotReceived]
    cautions: list[Caution] = Field(default_factory=list)
    """What to mind while it is put away; said when it is received."""


class DeliveryLine(Told):
    code: str
    supplier: str | None
    reference: str | None
    received_at: MomentOut
    lots: list[str]


class LotOut(Told):
    code: str
    name: str
    origin: str
    origin_name: str
    """In English, as ISO 3166-1 or everybody calls it."""
    supplier: str | None
    delivery: str
    received_at: MomentOut
    species: Species | None
    variety: str | None
    region: str | None
    producer: str | None
    altitude: AltitudeOut | None
    process: str | None
    crop_year: str | None
    crop_years: CropYearsOut | None
    """What the printed crop year says, where it can be read."""
    harvest_ended_on: date | None
    crop_age: CropAgeOut
    ico_mark: str | None
    """As printed."""
    mark: str | None
    """The same with its zeros, where it is one."""
    mark_form: MarkForm
    shipped_on: date | None
    coffee_year: str
    coffee_year_from: YearFrom
    same_shipment_as: str | None
    certificate: str | None
    """In words, as printed: it proves nothing, and no claim comes of it."""
    claims: list[str]
    """What certificates on record let it carry on the day it was received."""
    note: str | None
    received_g: KgOut = Field(alias="received_kg")
    advised_g: KgOut | None = Field(alias="advised_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    available_g: KgOut = Field(alias="available_kg")
    """On hand, not held and not reserved."""
    held_g: KgOut = Field(alias="held_kg")
    """On hand and held: sack by sack, or all of it with the lot."""
    reserved_g: KgOut = Field(alias="reserved_kg")
    """Kept for planned batches, and there; with available and held it is what is on hand."""
    reserved_short_g: KgOut = Field(alias="reserved_short_kg")
    """Kept for planned batches, and drawn by something else or held since."""
    held: bool
    sack_count: int
    sacks_on_hand: int
    latest_moisture_pct: NumberOut | None
    moisture: LotMoisture
    voided: bool
    cost_per_kg: NumberOut | None = None
    """Only for those who may see prices."""
    currency: str | None = None
    arrival: LotArrival | None
    """How far the work on the arrived lot is; null for opening stock."""


class SackOut(Told):
    code: str
    lot: str
    number: int
    net_g: KgOut = Field(alias="net_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    location: str | None
    held: bool
    condition: Condition
    gross_g: KgOut | None = Field(alias="gross_kg")
    tare_g: KgOut | None = Field(alias="tare_kg")
    voided: bool
    caution: str | None
    """What to mind when it is lifted as it is."""
