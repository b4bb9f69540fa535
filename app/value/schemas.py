"""What the API reads and answers about cost, stock value and age."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator

from app.green.contracts.schemas import Currency, Price
from app.green.identity.schemas import CropAgeOut
from app.ledger.schemas import Asked, Note, Told, Why
from app.ledger.tables import UnitKind
from app.shared.codes import Code
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut, exact_number
from app.shared.times import MomentIn, MomentOut
from app.standards.buying import PriceUnit, WeightBasis
from app.standards.costing import CostKind, CostMethod
from app.standards.currencies import is_currency

_LARGEST = Decimal(1_000_000_000)
_FINEST = Decimal("0.0001")


def _amount(value: object) -> Decimal:
    number = exact_number(value)
    if not number.is_finite() or not 0 < number < _LARGEST or number != number.quantize(_FINEST):
        raise ValueError(f"an amount is above 0 and below {_LARGEST}, with at most 4 decimals")
    return number


def _known(code: str) -> str:
    if not is_currency(code):
        raise ValueError(f"{code} is no currency code of ISO 4217 (such as EUR)")
    return code


Amount = Annotated[
    Decimal, BeforeValidator(_amount),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1_000_000_000}),
]  # fmt: skip
KnownCurrency = Annotated[Currency, AfterValidator(_known)]


class CostIn(Asked):
    lot: Code | None = None
    delivery: Annotated[str, Field(min_length=1, max_length=32)] | None = None
    """Instead of a lot: shared by all its lots by what they weighed on arrival."""
    kind: CostKind
    """A `claim` is what was given back: it lowers the cost."""
    amount: Amount | None = None
    price: Price | None = None
    """Of a purchase, instead of an amount: for one of `price_unit`."""
    price_unit: PriceUnit | None = None
    currency: KnownCurrency
    happened_at: MomentIn | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        if (self.lot is None) == (self.delivery is None):
            raise ValueError("a cost is for a lot or for a delivery: name one of them")
        if (self.amount is None) == (self.price is None):
            raise ValueError("a cost has an amount or a price: give one of them")
        if (self.price is None) != (self.price_unit is None):
            raise ValueError("price and price_unit go together")
        if self.price is not None and self.kind is not CostKind.PURCHASE:
            raise ValueError(f"a price is for a purchase: {self.kind} has an amount")
        return self


class CostVoidIn(Asked):
    reason: Why


class CostOut(Told):
    id: int
    lot: str | None
    delivery: str | None
    kind: CostKind
    amount: NumberOut | None
    price: NumberOut | None
    price_unit: PriceUnit | None
    currency: str
    note: str | None
    happened_at: MomentOut
    who: str
    voided: bool
    entry: int


class CostVoided(Told):
    id: int
    reason: str
    entry: int
    voided_at: MomentOut


class AmountOut(Told):
    """An amount in one currency; currencies are never added."""

    currency: str
    amount: NumberOut
    """To two decimals."""


class CostOfMass(AmountOut):
    per_kg: NumberOut
    """To four decimals."""
    per_kg_exact: str | None
    """The same as a fraction; null where that is longer than 80 characters."""


class CostShare(Told):
    """A cost that is in a lot."""

    cost: int | None
    """Its number; null for a price that stands on the contract or in the stock file."""
    kind: CostKind
    currency: str
    amount: NumberOut
    """The lot's part of it, to four decimals; below zero for a claim."""
    of_delivery: bool
    note: str | None


class LandedOut(Told):
    """What a lot cost until it was there."""

    lot: str
    net_landed_g: KgOut = Field(alias="net_landed_kg")
    """By what it weighed on arrival, never by what was shipped, a kilogram is reckoned."""
    purchase_from: Literal["costs", "stock_file", "contract"] | None
    """Where its price is from; null where none is known."""
    weight_basis: WeightBasis | None
    """On which weight a price is paid, by the contract."""
    costs: list[CostOfMass]
    parts: list[CostShare]
    unpriced_g: KgOut = Field(alias="unpriced_kg")
    """Green without a price: all of it or nothing."""


class PartCost(Told):
    """What went into a unit, and what that cost."""

    unit: str
    kind: UnitKind
    grams: KgOut = Field(alias="kg")
    costs: list[AmountOut]


class UnitCostOut(Told):
    """What green there is in a unit cost, with roast loss and everything lost on the way."""

    unit: str
    kind: UnitKind
    method: CostMethod
    made_g: KgOut = Field(alias="made_kg")
    bags: int | None
    """Of a pack."""
    costs: list[CostOfMass]
    per_bag: list[AmountOut]
    """To four decimals."""
    unpriced_green_g: KgOut = Field(alias="unpriced_green_kg")
    """So much of the green in it has no price: the costs are without it."""
    parts: list[PartCost]


class ValueRow(Told):
    kind: Literal["green", "roast", "blend", "pack", "return"]
    key: str
    """The code of the unit; of green its lot, or what is priced together."""
    grams: KgOut = Field(alias="kg")
    costs: list[AmountOut]
    unpriced_green_g: KgOut = Field(alias="unpriced_green_kg")


class ValuationOut(Told):
    """What the coffee in the house cost."""

    on: date
    """The day at whose end."""
    method: CostMethod
    pooled_by: str | None
    """What green is priced together by; null where every lot is priced by itself."""
    items: list[ValueRow]
    totals: list[AmountOut]
    """The rows added up, currency by currency."""
    unpriced_green_g: KgOut = Field(alias="unpriced_green_kg")
    caution: str


class ExpenseRow(Told):
    reason: str
    """That of the adjustment, or `sweepings`."""
    grams: KgOut = Field(alias="kg")
    """Lost, gains taken off."""
    costs: list[AmountOut]
    unpriced_green_g: KgOut = Field(alias="unpriced_green_kg")


class ExpensesOut(Told):
    """What was lost beside ordinary roasting and packing loss, which stays in the product."""

    first: date = Field(alias="from")
    last: date = Field(alias="to")
    method: CostMethod
    items: list[ExpenseRow]
    totals: list[AmountOut]


class AbcRow(Told):
    key: str
    used_g: KgOut = Field(alias="used_kg")
    """Of green that has a cost in this currency."""
    value: NumberOut
    cumulative_pct: NumberOut
    letter: Literal["A", "B", "C"]


class AbcOfCurrency(Told):
    currency: str
    items: list[AbcRow]


class AbcOut(Told):
    first: date = Field(alias="from")
    last: date = Field(alias="to")
    by: Literal["lot", "origin"]
    currencies: list[AbcOfCurrency]
    unpriced_g: KgOut = Field(alias="unpriced_kg")
    """Used, and in no list: it has no price."""


class AgedLot(Told):
    """A lot on hand and how old it is. Age is a warning and stops nothing."""

    lot: str
    name: str
    origin: str
    crop_year: str | None
    """As printed."""
    harvest_ended_on: date | None
    received_on: date
    days_since_harvest: int | None
    days_since_arrival: int
    crop_age: CropAgeOut
    past_crop: bool
    """Whether a newer crop of its origin and species came in since, as far as papers name both."""
    newer_crop: str | None
    """A lot of that crop."""
    reading_due: bool
    """Whether its newest moisture is too long ago, or there is none."""
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    held: bool
