"""What the API reads and answers about purchase contracts."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, ClassVar

from pydantic import (
    BeforeValidator,
    Field,
    StringConstraints,
    WithJsonSchema,
)

from app.green.origins import Country
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note, Party, Told
from app.shared.codes import as_typed, fold
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut, exact_number
from app.shared.times import Day, MomentOut
from app.shared.versions import shown_tag
from app.standards.buying import Form, PriceUnit, Standing, WeightBasis


def _percent(value: object) -> Decimal:
    number = exact_number(value)
    if not number.is_finite() or not 0 <= number <= 100 or number != number.quantize(_FINEST_PCT):  # noqa: PLR2004 - per cent
        raise ValueError("a percentage is between 0 and 100, with at most 3 decimals")
    return number


def _price(value: object) -> Decimal:
    number = exact_number(value)
    if not number.is_finite() or not 0 < number < _DEAREST or number != number.quantize(_CHEAPEST):
        raise ValueError("a price is above 0 and below 1000000, with at most 6 decimals")
    return number


def _mass(value: object) -> int:
    """Read a quantity of a contract, which may fill many containers."""
    number = exact_number(value)
    if not number.is_finite() or not 0 < number <= _LARGEST_KG:
        raise ValueError(f"a quantity is above 0 and at most {_LARGEST_KG} kg")
    if number != number.quantize(_FINEST_PCT):
        raise ValueError(f"{number} kg is finer than a gram: at most 3 decimals")
    return int(number.scaleb(3))


_FINEST_PCT = Decimal("0.001")
_CHEAPEST = Decimal("0.000001")
_DEAREST = Decimal(1_000_000)
_LARGEST_KG = 30_000_000

Percentage = Annotated[
    Decimal, BeforeValidator(_percent),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 100, "multipleOf": 0.001}),
]  # fmt: skip
Price = Annotated[
    Decimal, BeforeValidator(_price),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1_000_000}),
]  # fmt: skip
Quantity = Annotated[
    int, BeforeValidator(_mass),
    WithJsonSchema(
        {"type": "number", "minimum": 0.001, "maximum": _LARGEST_KG, "multipleOf": 0.001}
    ),
]  # fmt: skip
Currency = Annotated[
    str,
    BeforeValidator(fold),
    StringConstraints(pattern=r"^[A-Z]{3}$"),
    as_typed("[A-Za-z]{3}"),
]
"""Three letters, as ISO 4217 has them."""
Reference = Annotated[
    str,
    BeforeValidator(fold),
    StringConstraints(pattern=r"^[A-Z0-9]([A-Z0-9 ._/-]{0,38}[A-Z0-9._-])?$"),
    as_typed("[A-Za-z0-9]([A-Za-z0-9 ._/-]{0,38}[A-Za-z0-9._-])?"),
]
"""How a contract is called: plain letters, digits and `. _ - /`, whatever its capitals."""
DayCount = Annotated[int, Field(ge=0, le=3650, strict=True)]


class ContractTerms(Asked):
    """What may be agreed beside the parties and the quantity."""

    tolerance_pct: Percentage | None = None
    price: Price | None = None
    currency: Currency | None = None
    price_unit: PriceUnit | None = None
    franchise_pct: Percentage | None = None
    arrival_moisture_limit_pct: Percentage | None = None
    shipped_from: Day | None = None
    shipped_until: Day | None = None
    lead_time_days: DayCount | None = None
    expected_on: Day | None = None
    weigh_days: DayCount | None = None
    quality_days: DayCount | None = None
    technical_days: DayCount | None = None
    note: Note | None = None
    ordered_on: Day | None = None
    """The day it was agreed: from then on its lead time counts."""
    origin: Country | None = None
    """Where the coffee is to come from."""
    component: Name | None = None
    """The component of charges that it is bought for."""
    ended_on: Day | None = None
    """From when on nothing more is expected of it: called off, or filled in another way."""


class ContractIn(ContractTerms):
    reference: Reference
    supplier: Party
    quantity_g: Quantity = Field(alias="quantity_kg")
    weight_basis: WeightBasis
    form: Form = Form.EUROPEAN


class ContractCard(ContractTerms):
    """A contract as it is kept: its supplier by number."""

    reference: str
    supplier_id: int
    quantity_g: int
    weight_basis: WeightBasis
    form: Form


class ContractChange(ContractTerms, Change):
    """The reference and the supplier stay: with another supplier it is another contract."""

    never_null: ClassVar[frozenset[str]] = frozenset({"quantity_g", "weight_basis", "form"})

    quantity_g: Quantity | None = Field(default=None, alias="quantity_kg")
    weight_basis: WeightBasis | None = None
    form: Form | None = None


class TermsOut(Told):
    """What holds: agreed, or else by the roastery's settings."""

    tolerance_pct: NumberOut
    franchise_pct: NumberOut
    weigh_days: int
    quality_days: int
    technical_days: int | None


class StandingOut(Told):
    """What came so far against the quantity that is accepted."""

    received_g: KgOut = Field(alias="received_kg")
    """Of all deliveries together; voided lots do not count."""
    accepted_from_g: KgOut = Field(alias="accepted_from_kg")
    accepted_to_g: KgOut = Field(alias="accepted_to_kg")
    standing: Standing


class ContractLine(CardOut, StandingOut):
    reference: str
    supplier: str
    quantity_g: KgOut = Field(alias="quantity_kg")
    weight_basis: WeightBasis
    form: Form
    tolerance_pct: NumberOut | None
    franchise_pct: NumberOut | None
    weigh_days: int | None
    quality_days: int | None
    technical_days: int | None
    terms: TermsOut
    arrival_moisture_limit_pct: NumberOut | None
    shipped_from: date | None
    shipped_until: date | None
    lead_time_days: int | None
    expected_on: date | None
    note: str | None
    ordered_on: date | None
    origin: str | None
    component: str | None
    ended_on: date | None
    price: NumberOut | None
    """Only for those who may see prices, as its currency and unit."""
    currency: str | None
    price_unit: PriceUnit | None
    price_per_kg: NumberOut | None
    """Converted from pounds, to four decimals."""


class ContractLot(Told):
    code: str
    name: str
    received_g: KgOut = Field(alias="received_kg")
    shipped_g: KgOut | None = Field(alias="shipped_kg")
    voided: bool


class ContractDelivery(Told):
    code: str
    received_at: MomentOut
    closed_at: MomentOut | None
    lots: list[ContractLot]


class ContractOut(ContractLine):
    deliveries: list[ContractDelivery]

    @property
    def etag(self) -> str:
        """Name the version and what came so far: a delivery changes what is shown, not the card."""
        return shown_tag(self)


PAIRED = ("price", "currency", "price_unit", "shipped_from", "shipped_until")
"""What a contract can have half of, and must not."""


def refuse_half(facts: Mapping[str, Any]) -> tuple[str, str] | None:
    """Find what does not go together: the field at fault, and why."""
    price = [facts[name] is not None for name in ("price", "currency", "price_unit")]
    if any(price) and not all(price):
        missing = ("price", "currency", "price_unit")[price.index(False)]
        return missing, "price, currency and price_unit go together"
    begins, ends = facts["shipped_from"], facts["shipped_until"]
    if begins and ends and begins > ends:
        return "shipped_until", "shipped_until is earlier than shipped_from"
    return None
