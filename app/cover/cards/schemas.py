"""What the API reads and answers about planning cards."""

from decimal import Decimal
from typing import Annotated, ClassVar

from pydantic import BeforeValidator, Field, StrictBool, StringConstraints, WithJsonSchema

from app.cover.rules import OrderUnit
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Note
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut, exact_number
from app.shared.thousandths import MilliOut, PercentIn

_HIGHEST = 99_990


def _sd(value: object) -> Decimal:
    number = exact_number(value)
    if not 0 <= number <= 3650 or number != round(number, 3):  # noqa: PLR2004 - ten years
        raise ValueError("a number of days from 0 to 3650, with at most 3 decimals")
    return number


Service = Annotated[PercentIn, Field(ge=50_000, le=_HIGHEST), WithJsonSchema(
    {"type": "number", "minimum": 50, "maximum": 99.99, "multipleOf": 0.001})]  # fmt: skip
LeadDays = Annotated[int, Field(ge=0, le=3650, strict=True)]
SdDays = Annotated[
    Decimal, BeforeValidator(_sd),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 3650, "multipleOf": 0.001}),
]  # fmt: skip
Review = Annotated[int, Field(ge=1, le=3650, strict=True)]
ItemName = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=210,
                      pattern=r"^((component|site):\s*\S.*|origin:\s*[A-Za-z]{2}|product:\s*\S+)$"),
]  # fmt: skip
"""`component:` and its name, `origin:` and its ISO 3166-1 code, `product:` and its SKU, or `site:`
and its name."""


class PlanningCardIn(Asked):
    item: ItemName
    service_milli: Service | None = Field(default=None, alias="service_pct")
    """The chance that stock does not run out before an order arrives."""
    lead_time_days: LeadDays | None = None
    """Instead of what was measured."""
    lead_time_sd_days: SdDays | None = None
    """Its standard deviation, instead of what was measured."""
    review_days: Review | None = None
    """How long an order has to last: until the order after it is placed."""
    harvest_bound: StrictBool = False
    """Whether there is one order a harvest."""
    order_unit: OrderUnit | None = None
    unit_g: KgIn | None = Field(default=None, alias="unit_kg")
    """What one of the units holds of this coffee."""
    note: Note | None = None


class PlanningCardChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"harvest_bound"})

    service_milli: Service | None = Field(default=None, alias="service_pct")
    lead_time_days: LeadDays | None = None
    lead_time_sd_days: SdDays | None = None
    review_days: Review | None = None
    harvest_bound: StrictBool | None = None
    order_unit: OrderUnit | None = None
    unit_g: KgIn | None = Field(default=None, alias="unit_kg")
    note: Note | None = None


class PlanningCardOut(CardOut):
    item: str
    service_milli: MilliOut | None = Field(alias="service_pct")
    lead_time_days: int | None
    lead_time_sd_days: NumberOut | None
    review_days: int | None
    harvest_bound: bool
    order_unit: OrderUnit | None
    unit_g: KgOut | None = Field(alias="unit_kg")
    note: str | None
