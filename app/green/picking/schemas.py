"""What the API reads and answers about pick lists."""

import re
from decimal import Decimal
from typing import Annotated

from fastapi import Query
from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from app.green.picking.rules import LeftOut
from app.ledger.schemas import Asked, Codes, Told, Why
from app.shared.codes import Code
from app.shared.mass import KgIn, KgOut, grams_from_kg
from app.shared.times import MomentOut


def _from_address(said: object) -> int:
    """Read kilograms out of an address, where every value is text."""
    if not re.fullmatch(r"[0-9]{1,5}(\.[0-9]{1,3})?", str(said)):
        raise ValueError("a mass is a number of kilograms with at most 3 decimals")
    grams = grams_from_kg(Decimal(str(said)))
    if grams == 0:
        raise ValueError("a mass must be above zero")
    return grams


KgAsked = Annotated[
    int,
    BeforeValidator(_from_address),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 30000}),
    Query(alias="kg", description="How much is wanted, with at most 3 decimals"),
]
LotsAsked = Annotated[
    list[Code],
    Query(alias="lot", min_length=1, max_length=50, description="A lot; several for a family"),
    AfterValidator(lambda codes: list(dict.fromkeys(codes))),
]


class PickIn(Asked):
    sack: Code
    grams: KgIn = Field(alias="kg")


class PickListIn(Asked):
    lots: Codes
    grams: KgIn = Field(alias="kg")
    sacks: Annotated[list[PickIn], Field(min_length=1, max_length=5000)] | None = None
    """Left out for the suggestion; another choice needs a reason."""
    reason: Why | None = None


class PickLine(Told):
    """So much out of this sack."""

    sack: str
    lot: str
    location: str | None
    grams: KgOut = Field(alias="kg")
    whole: bool
    """Whether it is all that is in the sack."""
    left_after_g: KgOut = Field(alias="left_after_kg")
    caution: str | None


class LeftOutLine(Told):
    """A sack that is not suggested."""

    sack: str
    lot: str
    why: LeftOut


class PickSuggestion(Told):
    lots: list[str]
    grams: KgOut = Field(alias="kg")
    lines: list[PickLine]
    left_out: list[LeftOutLine]


class PickListBrief(Told):
    id: int
    lots: list[str]
    grams: KgOut = Field(alias="kg")
    as_suggested: bool
    reason: str | None
    listed_at: MomentOut
    listed_by: str


class PickListOut(PickListBrief):
    lines: list[PickLine]
    entry: int
