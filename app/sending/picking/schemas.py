"""What the API reads and answers about picks of bags."""

import re
from datetime import date
from typing import Annotated, Self

from fastapi import Query
from pydantic import AfterValidator, Field, model_validator

from app.ledger.schemas import Asked, Party, Told, Why
from app.sending.orders.schemas import WantedBags, WantedLines, no_product_twice
from app.sending.picking.rules import PickState, WhyNot
from app.sending.schemas import Lines
from app.shared.codes import Code
from app.shared.mass import KgOut
from app.shared.problems import MemberError, ParameterRefused
from app.shared.times import MomentOut

_WANTED = re.compile(r"([A-Za-z0-9][A-Za-z0-9._-]{0,31}):([1-9][0-9]{0,5}|1000000)", re.ASCII)


def _from_address(said: list[str] | None) -> list[str] | None:
    for each in said or []:
        if not _WANTED.fullmatch(each):
            raise ValueError(
                f"{each}: say a product and how many bags up to 1000000, as HOUSE-250:12"
            )
    no_product_twice(_wanted(said or []))
    return said


def _wanted(said: list[str]) -> list[WantedBags]:
    """Read products and bags out of an address, where every value is text."""
    pairs = (each.split(":") for each in said)
    return [WantedBags(product=product, bags=int(bags)) for product, bags in pairs]


def one_purpose(want: list[str] | None, order: str | None) -> list[WantedBags] | None:
    """Read what is wanted, unless an order is named; one of the two must be."""
    if bool(want) == (order is not None):
        said = "name either what is wanted, as HOUSE-250:12, or an order"
        raise ParameterRefused("want", said)
    return _wanted(want) if want else None


WantAsked = Annotated[
    list[str] | None,
    Query(
        alias="want",
        max_length=200,
        description="A product and how many bags of it, as `HOUSE-250:12`; several times for more",
    ),
    AfterValidator(_from_address),
]


class PickIn(Asked):
    """For products, or for what an order still wants."""

    customer: Party | None = None
    order: Code | None = None
    lines: WantedLines | None = None
    packs: Lines | None = None
    """Left out for the suggestion; other bags need a reason."""
    reason: Why | None = None

    @model_validator(mode="after")
    def _one_purpose(self) -> Self:
        if (self.order is None) == (self.lines is None):
            raise MemberError("lines", "name either lines or an order")
        if self.order is not None and self.customer is not None:
            raise MemberError("customer", "an order has its own customer")
        return self


class CancelIn(Asked):
    reason: Why


class Wanted(Told):
    product: str
    bags: int


class PickedBags(Told):
    """So many bags of this pack."""

    pack: str
    product: str
    bags: int
    grams: KgOut = Field(alias="kg")
    lot_mark: str
    best_before: date | None
    in_cases: int
    """How many bags of the pack stand in cases."""
    caution: str | None


class ShortBags(Told):
    """A product of which there are too few free bags."""

    product: str
    asked: int
    found: int
    short: int


class LeftOutBags(Told):
    """Bags that are not suggested."""

    pack: str
    product: str
    bags: int
    best_before: date | None
    why: WhyNot


class PickSuggestion(Told):
    order: str | None
    wanted: list[Wanted]
    lines: list[PickedBags]
    short: list[ShortBags]
    past_best_before: list[LeftOutBags]
    """Quality is not promised any more; a person decides."""
    left_out: list[LeftOutBags]


class PickBrief(Told):
    id: int
    customer: str | None
    order: str | None
    state: PickState
    bags: int
    as_suggested: bool
    reason: str | None
    picked_at: MomentOut
    picked_by: str
    kept_until: MomentOut
    dispatch: str | None
    """The dispatch that ended it."""
    cancel_reason: str | None


class PickOut(PickBrief):
    wanted: list[Wanted]
    lines: list[PickedBags]
    entry: int
