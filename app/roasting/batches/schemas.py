"""What the API reads and answers about planned batches."""

from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from app.ledger.schemas import Asked, Name, Told, Why, refuse_twins
from app.shared.codes import Code, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.times import Day, MomentOut

BatchState = Literal["planned", "roasted", "cancelled"]
Count = Annotated[int, Field(ge=1, le=200, strict=True)]


class GreenIn(Asked):
    lot: Code
    grams: KgIn = Field(alias="kg")


def _no_lot_twice(green: list[GreenIn]) -> list[GreenIn]:
    refuse_twins(each.lot for each in green)
    return green


class BatchesIn(Asked):
    on: Day
    style: Name
    machine: PlaceCode | None = None
    """The drum; the style's own when it is left out."""
    charge_g: KgIn | None = Field(default=None, alias="charge_kg")
    """Of each batch; the style's usual charge when it is left out."""
    count: Count = 1
    green: (
        Annotated[list[GreenIn], Field(min_length=1, max_length=50), AfterValidator(_no_lot_twice)]
        | None
    ) = None
    """What each batch is made of; the lots of the style when it is left out."""


class BatchCancelIn(Asked):
    reason: Why


class GreenOut(Told):
    lot: str
    grams: KgOut = Field(alias="kg")


class BatchOut(Told):
    id: int
    on: date
    style: str
    machine: str | None
    charge_g: KgOut = Field(alias="charge_kg")
    green: list[GreenOut]
    """What was reserved for it."""
    state: BatchState
    roast: str | None
    """The roast that was made of it."""
    cancelled_reason: str | None
    planned_at: MomentOut
    planned_by: str


class BatchesOut(Told):
    batches: list[BatchOut]
