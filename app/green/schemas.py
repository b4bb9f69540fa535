"""What the API reads and answers about green coffee."""

from typing import Annotated, ClassVar, Self

import pycountry
from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StringConstraints,
    model_validator,
)

from app.green.condition.schemas import LotMoisture
from app.green.readings.values import Moisture
from app.green.tables import Condition
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note, Party, Told
from app.shared.codes import NewCode, PlaceCode, fold
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

MOST_SACKS = 20_000
"""In one delivery: some sixty containers, so more is a slip of the finger."""


def _country(code: str) -> str:
    if pycountry.countries.get(alpha_2=code) is None:
        raise ValueError(f"{code} is no country code of ISO 3166-1 (two letters, such as ET)")
    return code


Country = Annotated[str, BeforeValidator(fold), AfterValidator(_country)]
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


class SacksIn(Asked):
    """One sack, or `count` sacks of one weight."""

    code: NewCode | None = None
    count: Annotated[int, Field(ge=1, le=5000)] | None = None
    net_g: KgIn = Field(alias="net_kg")
    location: PlaceCode | None = None
    condition: Condition = Condition.SOUND

    @model_validator(mode="after")
    def _one_code_one_sack(self) -> Self:
        if self.code is not None and (self.count or 1) > 1:
            raise ValueError("a code names one sack: leave out the code or the count")
        return self


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
    sacks: Annotated[list[SacksIn], Field(min_length=1, max_length=5000)]


class OpeningLot(LotIn):
    """A lot of a stock file: its name is kept with its spaces, as it was typed."""

    name: Annotated[str, Field(min_length=1, max_length=500)]


class DeliveryIn(Asked):
    supplier: Party
    reference: Annotated[str, Field(max_length=200)] | None = None
    received_at: MomentIn
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
    held: bool
    sacks: list[SackBrief]


class DeliveryOut(Told):
    code: str
    supplier: str | None
    reference: str | None
    received_at: MomentOut
    lots: list[LotReceived]


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
    supplier: str | None
    delivery: str
    received_at: MomentOut
    crop_year: str | None
    process: str | None
    ico_mark: str | None
    certificate: str | None
    note: str | None
    received_g: KgOut = Field(alias="received_kg")
    advised_g: KgOut | None = Field(alias="advised_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    available_g: KgOut = Field(alias="available_kg")
    """On hand and not held."""
    held: bool
    sack_count: int
    sacks_on_hand: int
    latest_moisture_pct: NumberOut | None
    moisture: LotMoisture
    voided: bool
    cost_per_kg: NumberOut | None = None
    """Only for those who may see prices."""
    currency: str | None = None


class SackOut(Told):
    code: str
    lot: str
    number: int
    net_g: KgOut = Field(alias="net_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    location: str | None
    held: bool
    condition: Condition
    voided: bool
